"""Objects in a folder: one file each, sorted into folders by the first two letters of its name."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from handsfree.ledger.files import Disk, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import is_digest
from handsfree.objects.keeping import ENDING, StoreFailed
from handsfree.problem import Problem
from handsfree.regular_files import open_regular

MARK = "objects.json"
"""Lies in a folder of objects, and tells it from a folder of visits."""

_FORMAT = {"objects": "visits", "named by": "sha256", "format": 1}


@dataclass(frozen=True)
class ObjectFolder:
    """Objects in one folder of a file system that knows hard links."""

    root: Path

    def begin(self) -> None:
        """Make the folder, unless it is there; raises Problem when something else lies there."""
        try:
            ensure_folder(Disk(), self.root, 0o755)
            if not is_object_folder(self.root):
                if next(self.root.iterdir(), None) is not None:
                    what = "this folder holds something else than objects"
                    raise Problem(what, where=str(self.root), remedy="name a new one")
                put(Disk(), self.root / MARK, json.dumps(_FORMAT).encode() + b"\n")
        except OSError as error:
            raise disk_problem(error, "making the folder of objects", self.root) from error

    def digests(self) -> Iterator[str]:
        """Yield the names of all objects, in order."""
        try:
            for inner in sorted(each for each in self.root.iterdir() if each.is_dir()):
                names = sorted(each.name.removesuffix(ENDING) for each in inner.iterdir())
                yield from (name for name in names if is_digest(name))
        except OSError as error:
            raise _failed(error, "looking for objects", self.root) from error

    def put(self, archive: Path, digest: str) -> bool:
        """Add an object: under another name until it is whole and on the disk; the link then replaces none."""
        there = self._place(digest)
        part = there.with_name(f".{digest}.{os.getpid()}")
        disk = Disk()
        try:
            ensure_folder(disk, there.parent, 0o755)
            if there.exists():
                return False
            with archive.open("rb") as read, part.open("wb") as written:
                shutil.copyfileobj(read, written, 1 << 20)
                written.flush()
                os.fchmod(written.fileno(), 0o444)
                os.fsync(written.fileno())
            os.link(part, there)
            disk.fsync_folder(there.parent)
        except FileExistsError:
            return False
        except OSError as error:
            raise _failed(error, "keeping an object", there) from error
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
        return True

    def remove(self, digest: str) -> None:
        """Delete an object whose visit was kept anew without a person's data."""
        there = self._place(digest)
        try:
            there.unlink(missing_ok=True)
            Disk().fsync_folder(there.parent)
        except OSError as error:
            raise _failed(error, "deleting an object", there) from error

    def reading(self, digest: str) -> AbstractContextManager[BinaryIO]:
        """Open an object."""
        there = self._place(digest)
        try:
            return open_regular(there)
        except FileNotFoundError:
            raise StoreFailed("there is no such object", where=str(there)) from None
        except OSError as error:
            raise _failed(error, "reading an object", there) from error

    def _place(self, digest: str) -> Path:
        return self.root / digest[:2] / f"{digest}{ENDING}"


def is_object_folder(folder: Path) -> bool:
    """Say whether a folder is one of objects."""
    return (folder / MARK).is_file()


def _failed(error: OSError, doing: str, path: Path) -> StoreFailed:
    told = disk_problem(error, doing, path)
    return StoreFailed(told.what, where=told.where, remedy=told.remedy, code=told.code)
