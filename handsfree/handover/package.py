"""A visit as one file to be sent: the archive by which the office's objects are named, too."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from handsfree.ledger.files import Disk, disk_problem, ensure_folder
from handsfree.objects.archive import pack, unpack

LARGEST_PACKAGE = 2 << 30
"""Bytes; a visit of a day with all its sound is far smaller."""


@dataclass(frozen=True)
class VisitPackage:
    """A packed visit: its file, the SHA-256 of that (hex) and its size in bytes."""

    file: Path
    digest: str
    size: int


def packed(folder: Path, file: Path) -> VisitPackage:
    """Write a visit's record, and nothing else of its folder, into one file; the same visit gives the same bytes.

    Raises Problem when there is no record, or the disk fails.
    """
    try:
        ensure_folder(Disk(), file.parent, 0o700)
        with file.open("wb") as stream:
            pack(folder, stream)
        with file.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        return VisitPackage(file, digest, file.stat().st_size)
    except OSError as error:
        raise disk_problem(error, "packing the visit", file) from error


def unpacked(file: Path, folder: Path, digest: str) -> Path:
    """Lay a package of that digest out into a new folder and return it; Problem when it is none."""
    try:
        ensure_folder(Disk(), folder.parent, 0o700)
        with file.open("rb") as stream:
            unpack(stream, folder, digest=digest)
    except OSError as error:
        raise disk_problem(error, "unpacking the visit", folder) from error
    return folder
