"""Keeping visits as objects: written once, never over another, read back; fetched whole or not at all."""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Protocol

from handsfree.ledger.files import Disk, disk_problem
from handsfree.objects.archive import identity_in, pack, unpack
from handsfree.problem import ExitCode, Problem

ENDING = ".tar"


class StoreFailed(Problem):
    """The store of objects did not do what it was asked: that says nothing of the visit."""


class ObjectStore(Protocol):
    """Where objects lie, each named by the SHA-256 of its bytes; it can be pickled and holds nothing open.

    Every method raises StoreFailed when the store does.
    """

    def digests(self) -> Iterator[str]:
        """Yield the names of all objects, in order."""

    def put(self, archive: Path, digest: str) -> bool:
        """Add an object from a file, durably; return False, with nothing changed, when the name is taken."""

    def remove(self, digest: str) -> None:
        """Delete an object whose visit was kept anew without a person's data."""

    def reading(self, digest: str) -> AbstractContextManager[BinaryIO]:
        """Give the bytes of an object as a stream; StoreFailed when there is none."""


@dataclass(frozen=True)
class KeptVisit:
    """An object: its digest, and whether it was there already."""

    digest: str
    known: bool


def keep_visit(folder: Path, store: ObjectStore) -> KeptVisit:
    """Keep a visit's folder as an object, and read it back; the same folder gives the same object.

    Raises Problem when the folder holds what no visit holds; StoreFailed when the store fails, and when what lies
    in it under this name is not what its name says.
    """
    with tempfile.TemporaryDirectory(prefix="handsfree-") as scratch:
        archive = Path(scratch) / "visit.tar"
        with archive.open("wb") as file:
            pack(folder, file)
        with archive.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        return keep_archive(archive, digest, store)


def keep_archive(archive: Path, digest: str, store: ObjectStore) -> KeptVisit:
    """Keep a visit's archive of that digest as an object, and read it back; raises StoreFailed as `keep_visit`."""
    new = store.put(archive, digest)
    with store.reading(digest) as stream:
        if _digest_of(stream) != digest:
            raise StoreFailed(
                "what the store gives back is not what was put into it",
                where=digest,
                remedy="look at the store's disks, and keep the folder",
                code=ExitCode.FAILED,
            )
    return KeptVisit(digest, known=not new)


def fetch_visit(store: ObjectStore, digest: str, folder: Path) -> None:
    """Write the files of an object into a new folder; raises Problem unless all is as its name says."""
    with store.reading(digest) as stream:
        unpack(stream, folder, digest=digest)


@dataclass(frozen=True)
class RestoredVisit:
    """The folder of an object, and whether it was laid out just now."""

    folder: Path
    new: bool


def restore_visit(store: ObjectStore, digest: str, root: Path) -> RestoredVisit:
    """Lay an object out beneath a folder, whole or not at all; raises Problem as `fetch_visit` does."""
    folder, part = root / digest[:16], root / f".restoring-{digest[:16]}"
    if folder.exists():
        return RestoredVisit(folder, new=False)
    try:
        root.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(part, ignore_errors=True)
        fetch_visit(store, digest, part)
        part.rename(folder)
        Disk().fsync_folder(root)
    except OSError as error:
        raise disk_problem(error, "restoring a visit", folder) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return RestoredVisit(folder, new=True)


def keep_erased(store: ObjectStore, visits: Mapping[str, Path], clean: Callable[[Path, Path], None]) -> list[str]:
    """Keep anew, without what was erased, each object of some visits, and delete the old one; return those.

    `visits` are the folders by the digest of their first line; `clean` makes the object's files, laid out in a
    folder, like those of the visit's folder. Raises as `keep_visit` and `fetch_visit` do.
    """
    gone = []
    for digest in list(store.digests()):
        with store.reading(digest) as stream:
            folder = visits.get(identity_in(stream))
        if folder is None:
            continue
        with tempfile.TemporaryDirectory(prefix="handsfree-") as scratch:
            laid_out = Path(scratch) / "visit"
            fetch_visit(store, digest, laid_out)
            clean(laid_out, folder)
            if keep_visit(laid_out, store).digest != digest:
                store.remove(digest)
                gone.append(digest)
    return gone


def _digest_of(stream: BinaryIO) -> str:
    running = hashlib.sha256()
    while piece := stream.read(1 << 20):
        running.update(piece)
    return running.hexdigest()
