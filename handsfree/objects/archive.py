"""One visit as one archive: the same files give the same bytes, so that their SHA-256 names the visit's contents.

The archive is an uncompressed tar (POSIX.1-2001, "pax"): clips are compressed already. It holds what belongs to
the record and nothing else, in the order of names, with no times, owners or rights of its own.
"""

from __future__ import annotations

import hashlib
import os
import tarfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, BinaryIO, Protocol, cast

from handsfree.ledger.chain import LONGEST_LINE
from handsfree.ledger.files import disk_problem
from handsfree.ledger.visit import VisitFolder, is_plain_name
from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import LARGEST, open_regular

MOST_FILES = 100_000
"""A visit of a day has some hundreds of clips."""


class Sink(Protocol):
    """Whatever takes the bytes of an archive."""

    def write(self, data: bytes, /) -> object:
        """Take the next bytes."""


def pack(folder: Path, sink: Sink) -> None:
    """Write the archive of a visit's folder.

    Raises Problem when it holds no record, when a link, a pipe or a folder stands where a file belongs, and when
    it is larger than any visit.
    """
    visit = VisitFolder(folder)
    try:
        stream = cast("IO[bytes]", sink)  # tarfile only writes to it
        with tarfile.open(fileobj=stream, mode="w|", format=tarfile.PAX_FORMAT) as archive:
            left = LARGEST
            for name in _names(visit):
                with open_regular(folder / name) as file:
                    member = tarfile.TarInfo(name)
                    member.size = os.fstat(file.fileno()).st_size
                    member.mode = 0o644
                    left -= member.size
                    if left < 0:
                        raise Problem(_TOO_LARGE, where=str(folder), remedy=_LOOK, code=ExitCode.FAILED)
                    archive.addfile(member, file)
    except OSError as error:
        raise disk_problem(error, "reading the record", Path(error.filename or folder)) from error
    except UnicodeEncodeError as error:
        raise Problem("a file's name is no Unicode", where=str(folder), remedy=_LOOK) from error


_PIECE = 1 << 20
_TOO_LARGE = "it is larger than any visit"
_LOOK = "look at who wrote it"


def content_digest(folder: Path) -> str:
    """Return the SHA-256 of the archive that a visit's folder gives; raises as `pack` does."""
    running = hashlib.sha256()
    pack(folder, _Digesting(running))
    return running.hexdigest()


class _Digesting:
    def __init__(self, running: hashlib._Hash) -> None:
        self._running = running

    def write(self, data: bytes, /) -> None:
        self._running.update(data)


def unpack(stream: BinaryIO, folder: Path, *, digest: str) -> None:
    """Write the files of an archive into a new folder; raise Problem unless it is the archive of that digest.

    Whoever wrote it may be careless or hostile: it is read as a stream, only plain files with the names of a
    record are taken, none beyond the ceilings, and what was unpacked must give the very archive again.
    """
    visit, left, read = VisitFolder(folder), LARGEST, _DigestedReading(stream)
    folder.mkdir()
    try:
        with tarfile.open(fileobj=cast("IO[bytes]", read), mode="r|") as archive:
            for number, member in enumerate(archive):
                left -= member.size
                if member.type != tarfile.REGTYPE or member.sparse or not _belongs(visit, member.name):
                    raise _hostile("it holds what is no file of a record")
                if left < 0 or number >= MOST_FILES:
                    raise _hostile(_TOO_LARGE)
                there = folder / member.name
                there.parent.mkdir(exist_ok=True)
                taken = archive.extractfile(member)
                assert taken is not None
                with there.open("xb") as file:
                    while piece := taken.read(_PIECE):
                        file.write(piece)
    except (tarfile.TarError, ValueError, EOFError, FileExistsError, RecursionError) as error:
        raise _hostile("it is no archive of a visit") from error
    while read.read(_PIECE):
        pass  # the bytes after its end count too
    if read.running.hexdigest() != digest:
        raise _hostile("its contents are not what its name says")
    if content_digest(folder) != digest:
        raise _hostile("its files do not give this archive")


def identity_in(stream: BinaryIO) -> str:
    """Return the digest of the first line of the record in an archive; empty where there is none."""
    try:
        with tarfile.open(fileobj=stream, mode="r|") as archive:
            for member in archive:
                if member.name == "ledger.jsonl" and (file := archive.extractfile(member)) is not None:
                    return hashlib.sha256(file.readline(LONGEST_LINE).removesuffix(b"\n")).hexdigest()
    except (tarfile.TarError, ValueError, EOFError, RecursionError):
        pass
    return ""


class _DigestedReading:
    """A stream that is read, and the digest of all that was read of it."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream, self.running = stream, hashlib.sha256()

    def read(self, count: int) -> bytes:
        piece = self._stream.read(count)
        self.running.update(piece)
        return piece


def _hostile(what: str) -> Problem:
    return Problem(what, remedy="set it aside and ask where it comes from", code=ExitCode.FAILED)


def _belongs(visit: VisitFolder, name: str) -> bool:
    """Say whether a file of this name can be part of a record: beside the ledger, or in one of its folders."""
    own, slash, inner = name.partition("/")
    return own in visit.record_names() and (not slash or is_plain_name(inner))


def _names(visit: VisitFolder) -> Iterator[str]:
    """Yield the names of a record's files, in order; raises Problem where there is none."""
    try:
        names = sorted(visit.record_names() & {each.name for each in visit.folder.iterdir()})
    except FileNotFoundError:
        raise Problem("there is no such folder", where=str(visit.folder)) from None
    if visit.ledger.name not in names:
        raise Problem(f"it holds no {visit.ledger.name}, so it is no visit", where=str(visit.folder))
    count = 0
    for name in names:
        place = visit.folder / name
        is_folder = place.is_dir() and not place.is_symlink()
        inner = sorted(each.name for each in place.iterdir()) if is_folder else None
        count += 1 if inner is None else len(inner)
        if count > MOST_FILES:
            raise Problem(_TOO_LARGE, where=str(visit.folder), remedy=_LOOK, code=ExitCode.FAILED)
        yield from [name] if inner is None else (f"{name}/{each}" for each in inner)
