"""Procedure files as they stood at a commit: read out of git, whatever the working tree holds by now."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

from handsfree.documents import Document, NoSuchFile, parse_document
from handsfree.problem import Problem

LONGEST_SECONDS = 30
_REMEDY = "give a file, or a branch, tag or commit of the repository that the other file is in"


def reader_at(ref: str, beside: Path) -> Callable[[Path], Document]:
    """Return what reads files as they stood at a git ref of the repository that a file is in.

    Raises Problem when there is no such ref, or the file is in no repository.
    """
    folder = beside.resolve().parent
    if ref.startswith("-"):
        raise Problem(f"there is no file and no commit {ref!r}", remedy=_REMEDY)
    found = _git(folder, "rev-parse", "--verify", "--quiet", f"{ref}^{{commit}}")
    if found is None:
        raise Problem(f"there is no file and no commit {ref!r}", where=str(beside), remedy=_REMEDY)
    commit = found.strip()

    def read(path: Path) -> Document:
        text = _git(path.resolve().parent, "show", f"{commit}:./{path.name}")
        if text is None:
            what = f"there is no such file at {ref}"
            raise NoSuchFile(what, where=str(path), remedy="compare with a later commit")
        return parse_document(text, str(path))

    return read


def _git(folder: Path, *arguments: str) -> str | None:
    """Return what git prints; None when it fails, or is not there."""
    command = ["git", "-C", str(folder), *arguments]
    try:
        done = subprocess.run(  # noqa: S603 - a list of arguments, no shell
            command, capture_output=True, timeout=LONGEST_SECONDS, check=False
        )
        return done.stdout.decode("utf-8") if done.returncode == 0 else None
    except (OSError, UnicodeDecodeError, subprocess.TimeoutExpired):
        return None
