"""Where the visits of a fleet lie, and how a worker gets at one of them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from handsfree.objects.archive import content_digest
from handsfree.problem import Problem


class VisitSource(Protocol):
    """Where visits lie; it goes to the workers, so it can be pickled and holds nothing open."""

    def names(self) -> Iterator[str]:
        """Yield the name of every visit there, in order; raises Problem when there is no such place."""

    def digest(self, name: str) -> str:
        """Return the SHA-256 of a visit's contents; raises Problem when it holds what no visit holds."""

    def opened(self, name: str) -> AbstractContextManager[Path]:
        """Give the folder of a visit while it is worked on; raises Problem when it cannot be had."""


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

    def opened(self, name: str) -> AbstractContextManager[Path]:
        """Give the folder itself."""
        return nullcontext(self.root / name)


def source_of(store: str) -> VisitSource:
    """Return what reads a store as the command line names it; raises Problem when there is none."""
    if not Path(store).is_dir():
        raise Problem("there is no such folder", where=store)
    return VisitFolders(Path(store).resolve())
