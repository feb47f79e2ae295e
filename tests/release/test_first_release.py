"""The newcomer's page: a shell runs each of its lines, from an empty folder to a signed procedure on a visit."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from handsfree.bundles.archive import read_bundle
from handsfree.ledger import read

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "procedures" / "FIRST-RELEASE.md"
MOST_SECONDS = 600


def commands() -> list[str]:
    """Return the lines that stand by themselves on the page."""
    lines = PAGE.read_text("utf-8").splitlines()
    return [line.strip() for line in lines if line.startswith("    ")]


@pytest.mark.slow("two releases, each with all its proofs and stories, each command a process of its own")
def test_the_page_leads_from_nothing_to_a_visit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each command does what the page says of it; the visit is left open, since nobody answers."""
    here = {
        "HANDSFREE_STATE": str(tmp_path / "state"),
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT),
    }
    folder = tmp_path / "empty"
    folder.mkdir()
    said: dict[str, str] = {}
    began = time.monotonic()
    for line in commands():
        done = subprocess.run(
            ["bash", "-c", line],
            cwd=folder,
            env=os.environ | here,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == (3 if " visit " in line else 0), (line, done.stdout, done.stderr)
        said[line] = done.stdout
    took = time.monotonic() - began
    with capsys.disabled():
        print(f"\n{len(commands())} commands of {PAGE.name} took {took:.0f} s")
    assert took < MOST_SECONDS
    assert next(iter(read(folder / "visit"))).event["standing"]["by"] == "A. Author"
    assert read_bundle(folder / "bundles" / "my-check-2.0.0.zip").approval.after == "1.0.0"
    assert said["handsfree take --back my-check"].strip() == "my-check 1.0.0 is in use"
    first = next(iter(read(folder / "brake-visit"))).event
    assert "trades.lift-brake.hazards.yaml" in first["sources"]
    told = said["handsfree take"].splitlines()
    assert told[0].endswith(": in use")
    assert "NOT USED: A. Author withdrew it" in told[1]
    assert told[1].endswith("the wrong words")
