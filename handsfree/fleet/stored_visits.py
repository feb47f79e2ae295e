"""Where the visits of a fleet lie, and how a worker gets at one of them."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from handsfree.objects.archive import content_digest
from handsfree.objects.bucket import SCHEME, ObjectBucket
from handsfree.objects.folder import ObjectFolder, is_object_folder
from handsfree.objects.keeping import ObjectStore, fetch_visit
from handsfree.problem import Problem


class VisitSource(Protocol):
    """Where visits lie; it goes to the workers, so it can be pickled and holds nothing open."""

    def names(self) -> Iterator[str]:
        """Yield the name of every visit there, in order; raises Problem when there is no such place."""

    def digest(self, name: str) -> str:
        """Return the SHA-256 of a visit's contents; raises Problem when it holds what no visit holds."""

    def opened(self, name: str, scratch: Path | None) -> AbstractContextManager[Path]:
        """Give the folder of a visit while it is worked on; raises Problem when it cannot be had.

        What must be laid out for that lies in `scratch`; in the machine's own place for it when None.
        """


@dataclass(frozen=True)
class VisitFolders:
    """Folders of visits beneath a folder, each named by its path from there."""

    root: Path

    def names(self) -> Iterator[str]:
        """Yield the name of every visit; no link is followed, nothing is opened."""
        if not self.root.is_dir():
            raise Problem("there is no such folder", where=str(self.root))
        for folder, inner, names in os.walk(self.root):
            inner[:] = sorted(name for name in inner if not name.startswith("."))
            if "ledger.jsonl" in names:
                inner.clear()
                yield str(Path(folder).relative_to(self.root))

    def digest(self, name: str) -> str:
        """Return the digest of the archive that the folder gives: an object of it has the same."""
        return content_digest(self.root / name)

    def opened(self, name: str, scratch: Path | None) -> AbstractContextManager[Path]:  # noqa: ARG002 - as all do
        """Give the folder itself."""
        return nullcontext(self.root / name)


@dataclass(frozen=True)
class VisitObjects:
    """Visits as objects, each named by the SHA-256 of its contents."""

    store: ObjectStore

    def names(self) -> Iterator[str]:
        """Yield the name of every object."""
        return self.store.digests()

    def digest(self, name: str) -> str:
        """Return the name; that the object is what it says is seen where it is fetched."""
        return name

    @contextmanager
    def opened(self, name: str, scratch: Path | None) -> Iterator[Path]:
        """Lay the visit out in a folder that goes when the work is done."""
        with tempfile.TemporaryDirectory(prefix="visit-", dir=scratch) as around:
            folder = Path(around) / "visit"
            fetch_visit(self.store, name, folder)
            yield folder


def source_of(store: str) -> VisitSource:
    """Return what reads a store as the command line names it; raises Problem when there is none."""
    if store.startswith(SCHEME):
        return VisitObjects(ObjectBucket.named(store))
    if not Path(store).is_dir():
        raise Problem("there is no such folder", where=store)
    root = Path(store).resolve()
    return VisitObjects(ObjectFolder(root)) if is_object_folder(root) else VisitFolders(root)
