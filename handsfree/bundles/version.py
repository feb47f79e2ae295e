"""Versions of procedures: three numbers, as Semantic Versioning 2.0.0 has them, without pre-releases."""

from __future__ import annotations

import re

PATTERN = r"^(0|[1-9]\d{0,4})\.(0|[1-9]\d{0,4})\.(0|[1-9]\d{0,4})$"
"""A major, a minor and a patch number (Semantic Versioning 2.0.0, items 2 and 9)."""


def is_version(text: str) -> bool:
    """Say whether a text is a version."""
    return re.fullmatch(PATTERN, text) is not None


def numbers(version: str) -> tuple[int, int, int]:
    """Return the three numbers of a version, which sort as versions do; ValueError when it is none."""
    found = re.fullmatch(PATTERN, version)
    if found is None:
        raise ValueError(f"{version!r} is no version")
    major, minor, patch = map(int, found.groups())
    return major, minor, patch


def least_after(version: str, weight: str) -> str:
    """Return the lowest version that may follow one, by the gravest change between the two.

    Looser raises the major number, tighter the minor one, wording and neutral the last (items 6 to 8, with looser
    read as the change that breaks what was relied on).
    """
    major, minor, patch = numbers(version)
    if weight == "looser":
        return f"{major + 1}.0.0"
    return f"{major}.{minor + 1}.0" if weight == "tighter" else f"{major}.{minor}.{patch + 1}"
