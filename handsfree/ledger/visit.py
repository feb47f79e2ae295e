"""The folder of a visit: what lies where."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.ledger.files import Files
from handsfree.problem import ExitCode, Problem


def is_plain_name(name: Any) -> bool:
    """Say whether a name stays in the folder where it is looked up."""
    return isinstance(name, str) and name not in {"", ".", ".."} and not set(name) & {"/", "\\", "\0"}


@dataclass(frozen=True)
class VisitFolder:
    """One visit's folder."""

    folder: Path

    @property
    def ledger(self) -> Path:
        """The record itself."""
        return self.folder / "ledger.jsonl"

    @property
    def sound(self) -> Path:
        """The clips, each named by the SHA-256 of its bytes."""
        return self.folder / "sound"

    @property
    def personal(self) -> Path:
        """Persons' data, salted, each file named by the SHA-256 of its bytes."""
        return self.folder / "personal"

    @property
    def sources(self) -> Path:
        """The procedure and the sheets as run."""
        return self.folder / "sources"

    @property
    def set_aside(self) -> Path:
        """What crashes left unfinished at the end of the record."""
        return self.folder / "set-aside"

    @property
    def redactions(self) -> Path:
        """Who removed which clip, when and why."""
        return self.folder / "redactions.jsonl"

    @property
    def export_note(self) -> Path:
        """What an exported copy leaves out."""
        return self.folder / "export.json"

    @property
    def signoff(self) -> Path:
        """The supervisor's remarks; the ledger package only carries the file along."""
        return self.folder / "signoff.jsonl"

    @property
    def endorsements(self) -> Path:
        """What people signed afterwards; the office reads it, the ledger package only carries it along."""
        return self.folder / "endorsements.jsonl"

    @property
    def timestamp(self) -> Path:
        """The answer of a time-stamp authority about the last line; the office reads it, as above."""
        return self.folder / "timestamp.tsr"

    @property
    def receipt(self) -> Path:
        """The office's word, on the device that sent the visit, that it holds it; no part of any copy."""
        return self.folder / "receipt.json"

    def record_names(self) -> set[str]:
        """Return the names that a copy of the record holds."""
        files = (self.ledger, self.redactions, self.signoff, self.endorsements, self.export_note, self.timestamp)
        return {path.name for path in (*files, self.sound, self.personal, self.sources, self.set_aside)}

    def own_names(self) -> set[str]:
        """Return the names that belong in the folder."""
        return {*self.record_names(), self.receipt.name}

    def clip(self, name: str) -> Path:
        """Return the file of a clip."""
        return self.sound / f"{name}.flac"

    def personal_file(self, commitment: str) -> Path:
        """Return the file of what a record commits to."""
        return self.personal / commitment

    def must_hold_record(self, files: Files) -> None:
        """Raise Problem when this is not the folder of a visit."""
        try:
            names = files.names(self.folder)
        except FileNotFoundError:
            raise Problem("there is no such folder", where=str(self.folder)) from None
        except NotADirectoryError:
            raise Problem("this is a file, not the folder of a visit", where=str(self.folder)) from None
        except PermissionError:
            raise Problem("this folder may not be read", where=str(self.folder)) from None
        if self.ledger.name not in names:
            raise Problem(
                f"this is not the folder of a visit: it holds no {self.ledger.name}",
                where=str(self.folder),
            )
        for name in sorted(self.own_names() & set(names)):
            if files.linked(self.folder / name):
                raise Problem(
                    f"{name} is a link to something elsewhere, and a record holds its own files",
                    where=str(self.folder),
                    remedy="copy the record itself",
                    code=ExitCode.FAILED,
                )


def visits_beneath(root: Path) -> Iterator[Path]:
    """Yield every folder of a visit beneath a folder, hidden ones left out, in the order of their names."""
    for folder, inner, names in os.walk(root):
        inner[:] = sorted(name for name in inner if not name.startswith("."))
        if "ledger.jsonl" in names:
            inner.clear()
            yield Path(folder)
