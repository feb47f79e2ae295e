"""The files of one trade, read once: in the package, in an author's folder, or kept beside a visit's procedure.

They are YAML alone. Whatever else lies in an author's folder is never read, so no Python of theirs ever runs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from handsfree.bundles.trade_names import kept_prefix
from handsfree.documents import Document, NoSuchFile, read_document
from handsfree.problem import Problem

ABOUT: Final = "trade.yaml"
"""The file that makes a folder a trade."""

USED: Final = (
    *(ABOUT, "quantities.yaml", "relations.yaml", "english.yaml", "sheets.yaml", "hazards.yaml"),
    *("calculations.yaml", "saturation.yaml", "checklist.yaml", "report.yaml"),
)
"""Every file of a trade that a visit or its papers may hang on; `languages.py` reads those of other languages."""


@dataclass(frozen=True, eq=False)
class TradeFolder:
    """Where a trade's files lie, and those that are there, by their own names."""

    name: str
    path: Path
    prefix: str
    """What stands before each file's name: empty in a folder of the trade's own."""
    documents: Mapping[str, Document]

    def file(self, name: str) -> Path:
        """Return where a file of the trade lies, by its own name."""
        return self.path / f"{self.prefix}{name}"

    def document(self, name: str) -> Document:
        """Return a file that every trade has; Problem at `trade.yaml` when it is not there."""
        found = self.documents.get(name)
        if found is None:
            what = f"the trade {self.name!r} has no {name}"
            where = f"{self.file(ABOUT)}:1"
            raise Problem(what, where=where, remedy="write it, as `handsfree template --new-trade` does")
        return found

    def read(self, name: str) -> Document:
        """Read a file that no visit hangs on; Problem when it is not there."""
        return read_document(self.file(name))

    def kept_as(self, document: Document) -> str:
        """Return the name under which one of its files is kept in the one folder of a procedure's files."""
        name = Path(document.file).name
        return name if self.prefix else f"{kept_prefix(self.name)}{name}"


def folder_of(
    path: Path, read: Callable[[Path], Document] = read_document, name: str = "", prefix: str = ""
) -> TradeFolder:
    """Read the files of a trade, named as its folder where no name is given; NoSuchFile without `trade.yaml`."""
    found = {ABOUT: read(path / f"{prefix}{ABOUT}")}
    for other in USED[1:]:
        try:
            found[other] = read(path / f"{prefix}{other}")
        except NoSuchFile:
            continue
    return TradeFolder(name or path.name, path, prefix, found)
