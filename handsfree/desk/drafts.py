"""Sheets that are being written at the desk: each answer on the disk as soon as it is given, until all are right.

A draft is a file of JSON in the office's outgoing folder, where nothing goes to a device by itself.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from handsfree.blocks import Block, Name
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.plain import plainly
from handsfree.problem import Problem

FOLDER = "being-written"
MOST_ANSWERS = 2_000
LONGEST_ANSWER = 500
_ENDING = ".json"
_ONE_AT_A_TIME = threading.Lock()
"""Held while a draft is read and written: of two people at one form neither loses an answer."""


class SheetDraft(Block):
    """A sheet as far as it is answered."""

    sheet: Literal["job", "appliance"]
    trade: Name
    visit: str
    """The procedure it is for; empty when none was named."""
    device: str = ""
    """The device that a job is for."""
    appliance: str = ""
    """The file of the maker's data that a job names."""
    answers: dict[str, str] = Field(default_factory=dict)
    """Path of a question -> the answer as it was written."""
    made: str = ""
    """The name of the file that was made of it last; empty before."""


class Drafts:
    """The drafts in a folder, each by a name that nobody guesses."""

    def __init__(self, outgoing: Path) -> None:
        self.folder = outgoing / FOLDER

    def names(self) -> list[str]:
        """Return the names of all drafts, the newest last."""
        if not self.folder.is_dir():
            return []
        files = [file for file in self.folder.iterdir() if file.suffix == _ENDING and _is_name(file.stem)]
        return [file.stem for file in sorted(files, key=lambda file: (file.stat().st_mtime_ns, file.name))]

    def begin(self, draft: SheetDraft) -> str:
        """Keep a new draft, and return its name."""
        name = secrets.token_hex(8)
        self._keep(name, draft)
        return name

    def read(self, name: str) -> SheetDraft | None:
        """Return a draft, None where there is none; Problem for a file that is none."""
        if not _is_name(name):
            return None
        file = self._file(name)
        try:
            return SheetDraft.model_validate_json(contents(Disk(), file))
        except FileNotFoundError:
            return None
        except OSError as error:
            raise disk_problem(error, "reading a draft", file) from error
        except ValidationError as error:
            what = f"this draft cannot be read: {plainly(error.errors()[0])}"
            raise Problem(what, where=str(file), remedy="remove the file, and begin the sheet anew") from error

    def answer(self, name: str, answers: Mapping[str, str]) -> None:
        """Keep answers as they were written, those given before beside them."""
        with self._changing(name) as draft:
            together = {**draft.answers, **{path: text.strip()[:LONGEST_ANSWER] for path, text in answers.items()}}
            if len(together) > MOST_ANSWERS:
                raise Problem("no sheet has as many answers", where=str(self._file(name)))
            self._keep(name, draft.model_copy(update={"answers": together}))

    def made(self, name: str, file: str) -> None:
        """Note which file was made of a draft."""
        with self._changing(name) as draft:
            self._keep(name, draft.model_copy(update={"made": file}))

    def remove(self, name: str) -> None:
        """Forget a draft; the file that was made of it stays."""
        with self._changing(name):
            self._file(name).unlink(missing_ok=True)

    @contextmanager
    def _changing(self, name: str) -> Iterator[SheetDraft]:
        with _ONE_AT_A_TIME:
            draft = self.read(name)
            if draft is None:
                raise Problem("this draft is gone", remedy="begin the sheet anew")
            yield draft

    def _keep(self, name: str, draft: SheetDraft) -> None:
        file = self._file(name)
        try:
            ensure_folder(Disk(), self.folder, 0o700)
            put(Disk(), file, draft.model_dump_json(indent=1).encode(), 0o600)
        except OSError as error:
            raise disk_problem(error, "keeping an answer", file) from error

    def _file(self, name: str) -> Path:
        return self.folder / f"{name}{_ENDING}"


def _is_name(name: str) -> bool:
    return len(name) == len("0" * 16) and set(name) <= set("0123456789abcdef")
