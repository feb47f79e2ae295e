"""A visit as one file: a plain tar archive (POSIX.1-1988 ustar), the same bytes for the same visit.

So the SHA-256 of the file names the visit as it stands, and a broken transfer goes on from any byte of it.
"""

from __future__ import annotations

import hashlib
import io
import shutil
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from handsfree.ledger.files import Disk, Files, contents, disk_problem, ensure_folder
from handsfree.ledger.visit import VisitFolder, is_plain_name
from handsfree.problem import ExitCode, Problem

LARGEST_PACKAGE = 2 << 30
"""Bytes; a visit of a day with all its sound is far smaller."""
MOST_FILES = 20_000
LONGEST_NAME = 100
"""Bytes; what the header of the archive has room for."""


@dataclass(frozen=True)
class VisitPackage:
    """A packed visit: its file, the SHA-256 of that (hex) and its size in bytes."""

    file: Path
    digest: str
    size: int


def pack(folder: Path, file: Path, files: Files | None = None) -> VisitPackage:
    """Write a visit's record, and nothing else of its folder, into one file.

    Raises Problem when there is no record, a name is too long for the archive, or the disk fails.
    """
    files = files or Disk()
    visit = VisitFolder(folder)
    visit.must_hold_record(files)
    try:
        ensure_folder(files, file.parent, 0o700)
        with tarfile.open(file, "w", format=tarfile.USTAR_FORMAT) as archive:
            for part in _parts(visit, files):
                data = contents(files, folder / part)
                archive.addfile(_header(f"{_plain(folder.name)}/{part}", len(data)), io.BytesIO(data))
        with file.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        return VisitPackage(file, digest, file.stat().st_size)
    except OSError as error:
        raise disk_problem(error, "packing the visit", file) from error


def unpack(file: Path, target: Path) -> Path:
    """Lay the visit of a package into a new folder beneath `target` and return that folder.

    Whoever made the file may be hostile: anything but plain files with a record's own names is refused. Raises
    Problem when it is no package, or the disk fails.
    """
    try:
        with tarfile.open(file, "r:") as archive:
            return _laid_out(archive, target, str(file))
    except (tarfile.TarError, ValueError, EOFError) as error:
        raise _no_package(file.name) from error
    except OSError as error:
        raise disk_problem(error, "unpacking the visit", target) from error


def _laid_out(archive: tarfile.TarFile, target: Path, where: str) -> Path:
    folder: Path | None = None
    for number, member in enumerate(archive):
        name, _, part = member.name.partition("/")
        if not member.isreg() or member.issparse() or number >= MOST_FILES or not _belongs(part):
            raise _no_package(where)
        if folder is None:
            if not is_plain_name(name) or name.startswith("."):
                raise _no_package(where)
            folder = target / name
            folder.mkdir(parents=True)
        stream = archive.extractfile(member)
        if folder.name != name or stream is None:
            raise _no_package(where)
        (folder / part).parent.mkdir(exist_ok=True)
        with (folder / part).open("xb") as file:
            shutil.copyfileobj(stream, file)
    if folder is None or not VisitFolder(folder).ledger.exists():
        raise _no_package(where)
    return folder


def _no_package(where: str) -> Problem:
    return Problem("this is not the package of a visit", where=where, code=ExitCode.FAILED)


def _belongs(part: str) -> bool:
    """Say whether a record holds a file of this name."""
    visit = VisitFolder(Path("visit"))
    folder, slash, name = part.partition("/")
    if slash:
        return folder in {path.name for path in (visit.sound, visit.sources, visit.set_aside)} and is_plain_name(
            name
        )
    return part in {path.name for path in visit.single_files()}


def _parts(visit: VisitFolder, files: Files) -> Iterator[str]:
    """Return the files of a record, relative to its folder, in the order of their names."""
    there = set(files.names(visit.folder))
    found = [path.name for path in visit.single_files() if path.name in there]
    for inner in (visit.sound, visit.sources, visit.set_aside):
        if inner.name in there:
            found += [f"{inner.name}/{name}" for name in files.names(inner)]
    yield from sorted(found)


def _header(name: str, size: int) -> tarfile.TarInfo:
    if len(name.encode()) > LONGEST_NAME:
        raise Problem(
            "the name of this file is too long to be sent", where=name, remedy="shorten the folder's name"
        )
    header = tarfile.TarInfo(name)
    header.size, header.mode = size, 0o644
    return header


def _plain(name: str) -> str:
    return (
        "".join(letter if letter.isascii() and letter.isprintable() else "-" for letter in name).lstrip(".")
        or "visit"
    )
