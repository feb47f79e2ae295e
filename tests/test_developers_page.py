"""The page for newcomers stays short, and what it names exists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PACKAGE = ROOT / "handsfree"
PLACES = (ROOT, PACKAGE, ROOT / "tests" / "checks", *(one for one in PACKAGE.iterdir() if one.is_dir()))
LONGEST = 9_000
"""Characters: what a newcomer reads in one go."""


def named() -> list[str]:
    """Return every file, folder and linked page that the text names."""
    linked = re.findall(r"\]\(([^)#]+)\)", PAGE)
    written = [one for one in re.findall(r"`([\w./-]+)`", PAGE) if "/" in one or one.endswith((".py", ".yaml"))]
    return sorted({*linked, *(one for one in written if "TRADE" not in one and not one.startswith("NAME"))})


def test_it_is_short_enough_to_be_read() -> None:
    assert len(PAGE) <= LONGEST


@pytest.mark.parametrize("name", named())
def test_what_it_names_is_there(name: str) -> None:
    """From the root or the package; short names stand beside the folder that was named before them."""
    homes = (
        *PLACES,
        *(ROOT / "handsfree" / folder for folder in ("gates", "questions", "session", "visit", "events")),
    )
    assert any((home / name).exists() for home in homes), name
