"""A folder of earlier records, as an office hands them back: found, and each verified when it is used.

Whoever wrote them may be careless or hostile: a record that does not hold is left out and told in a sentence. Its
decisions are not decided again here: the desk did that, and it takes seconds.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Self

from handsfree.desk.evidence import Evidence
from handsfree.desk.record import load, opened_in
from handsfree.events.decisions import VisitOpened
from handsfree.ledger import Entry, RecordVerdict, VerificationReport
from handsfree.ledger.files import disk_problem
from handsfree.ledger.visit import visits_beneath
from handsfree.objects.archive import unpack
from handsfree.office.enrolment import Enrolment
from handsfree.office.verification import verify_anchored
from handsfree.problem import Problem, one_line
from handsfree.regular_files import open_regular

MOST_LOOKED_AT = 500
"""Records in the folder: a day's sites have a few each."""


@dataclass(frozen=True)
class EarlierRecord:
    """A record by its first line alone: nothing is verified yet."""

    folder: Path
    opened: VisitOpened
    opened_at: str


@dataclass(frozen=True)
class HeldRecord:
    """A record that holds, as it was read."""

    evidence: Evidence
    report: VerificationReport
    noted: Mapping[str, str]
    """Gate -> what was told there in a few words, as it stands in the record: it may be a commitment to them."""

    @property
    def opened(self) -> VisitOpened:
        """The facts that the visit was opened with."""
        return self.evidence.recorded.opened


def alike(one: str, other: str) -> bool:
    """Say whether two texts are the same but for spaces and case, as serials and names are written."""
    return "".join(one.split()).casefold() == "".join(other.split()).casefold()


class EarlierRecords:
    """The records in a folder, those that came packed laid out in a folder that goes away at the end."""

    def __init__(self, folder: Path, records: Sequence[Path] | None = None) -> None:
        """Look at these `records` of the folder; at all beneath it when they are left out."""
        self._folder, self._records, self._room = folder, records, ExitStack()
        self.left_out: list[str] = []
        """A sentence for each record that was left out."""

    def __enter__(self) -> Self:
        if not self._folder.is_dir():
            raise Problem("there is no such folder of earlier visits", where=str(self._folder))
        return self

    def __exit__(self, *_: object) -> None:
        self._room.close()

    def leave_out(self, name: str, why: str) -> None:
        """Note that a record is not used."""
        self.left_out.append(one_line(f"{name} is not carried in: {why}"))

    @cached_property
    def all(self) -> tuple[EarlierRecord, ...]:
        """The records that begin as a visit does."""
        found = [*visits_beneath(self._folder), *self._laid_out()] if self._records is None else [*self._records]
        if len(found) > MOST_LOOKED_AT:
            self.left_out.append(f"only the first {MOST_LOOKED_AT} records of {self._folder} are looked at")
        records = []
        for record in found[:MOST_LOOKED_AT]:
            try:
                records.append(EarlierRecord(record, *opened_in(record)))
            except Problem as problem:
                self.leave_out(record.name, problem.what)
        return tuple(records)

    def _laid_out(self) -> Iterator[Path]:
        """Yield the records that lie in the folder as packages, as an office sends them."""
        try:
            packages = sorted(each for each in self._folder.iterdir() if each.suffix == ".tar")[:MOST_LOOKED_AT]
        except OSError as error:
            raise disk_problem(error, "reading the earlier visits", self._folder) from error
        if not packages:
            return
        below = Path(self._room.enter_context(tempfile.TemporaryDirectory(prefix="handsfree-")))
        for package in packages:
            try:
                with open_regular(package) as stream:
                    digest = hashlib.file_digest(stream, "sha256").hexdigest()
                    stream.seek(0)
                    unpack(stream, below / package.stem, digest=digest)
                yield below / package.stem
            except Problem as problem:
                self.leave_out(package.name, problem.what)
            except OSError as error:
                self.leave_out(package.name, f"it cannot be read ({error.strerror})")

    def held(self, record: EarlierRecord, listed: Enrolment | None) -> HeldRecord | None:
        """Return a record that is whole, or open and sound as far as it goes; None, and told, for any other."""
        try:
            return _held(record.folder, listed)
        except Problem as problem:
            self.leave_out(record.folder.name, problem.what)
            return None


def _held(record: Path, listed: Enrolment | None) -> HeldRecord:
    walked: list[Entry] = []
    report = verify_anchored(record, listed, walked=walked)
    if report.verdict == RecordVerdict.BROKEN:
        raise Problem(f"its record is broken: {report.sentence}", where=str(record))
    if report.demo:
        raise Problem("it is a DEMO, an invented visit", where=str(record))
    if listed is not None and report.anchor is not None and not report.anchor.holds:
        raise Problem(f"nobody vouches for it: {report.anchor.says}", where=str(record))
    recorded = load(record, walked)
    if recorded.damage:
        raise Problem(recorded.damage, where=str(record))
    noted = {str(one.event.get("gate")): str(one.event.get("text")) for one in walked if one.kind == "noted"}
    return HeldRecord(Evidence(recorded, report), report, noted)
