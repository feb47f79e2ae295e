"""Checking a record from its first byte to its last, and saying in a sentence what was found."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from handsfree.ledger.chain import FaultClass, Link, Rest, batches_of, lines_of
from handsfree.ledger.clock import milliseconds
from handsfree.ledger.diagnosis import LONGEST_TAIL, RecordFinding, diagnose
from handsfree.ledger.entry import Entry
from handsfree.ledger.files import Disk, Files, disk_problem
from handsfree.ledger.head import Head, checksum_of
from handsfree.ledger.holdings import Holdings
from handsfree.ledger.kinds import CLOCK_JUMPED, OPENED, RESUMED
from handsfree.ledger.reading import batches
from handsfree.ledger.report import (
    RecordVerdict,
    VerificationReport,
    broken_sentence,
    closed_sentence,
    open_sentence,
)
from handsfree.ledger.sealing import SealingKey
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import Problem

BEFORE_THE_PROGRAM = "2026-01-01T00:00:00.000Z"
"""No honest clock shows an earlier date: this program did not exist."""

MOST_KEPT = 100_000
"""Batches kept in memory while a record is checked; a visit of a day has some thousands. More are read again."""

CLOCKS_DIFFER_BY = 600_000
"""Milliseconds by which a device's clock may be ahead of the verifier's: common practice, no source."""


@dataclass(frozen=True)
class Difference:
    """Where replaying the recorded inputs gives something else than was recorded.

    `same_version` says whether the program that replays is of the version that recorded: only then does
    a difference mean that a decision was altered.
    """

    seq: int
    why: str
    same_version: bool


Replay = Callable[[Iterator[tuple[Entry, ...]]], Sequence[Difference]]
"""Decides again from the batches of a record; the session provides it."""


def verify(
    folder: Path,
    *,
    device_key: str | None = None,
    expected: tuple[int, str] | None = None,
    state: Path | None = None,
    replay: Replay | None = None,
    now: int | None = None,
    redacted: Mapping[str, str] | None = None,
    erased: Mapping[str, str] | None = None,
    walked: list[Entry] | None = None,
    files: Files | None = None,
) -> VerificationReport:
    """Check the record in a folder and report; nothing is written.

    `redacted` are clips that a person took out and signed for: name -> who, when and why, as it is to be said.
    `erased` likewise: a person's data and the sounds that were erased on their behalf.
    `now` is the time (ms since 1970) after which no entry can be dated; without it the future is not looked at.
    `device_key` is the device's public key as handed over (64 hex digits), `expected` a count and checksum
    noted elsewhere, `state` the folder of this device's secrets, whose own count is then compared, `replay`
    what decides again. `walked` takes the entries of a record that is whole, so that they need not be read once
    more; it stays empty where there are faults, or very many entries. Raises Problem when there is no record to
    check, or a newer version wrote it.
    """
    latest = None if now is None else now + CLOCKS_DIFFER_BY
    examination = _Examination(VisitFolder(folder), files or Disk(), redacted or {}, erased or {}, latest=latest)
    report = examination.report(device_key, expected, state, replay)
    if walked is not None and examination.kept is not None and report.verdict != RecordVerdict.BROKEN:
        walked += [entry for batch in examination.kept for entry in batch]
    return report


@dataclass
class _Examination:
    """One pass over one record."""

    visit: VisitFolder
    files: Files
    redacted: Mapping[str, str]
    taken_out: Mapping[str, str]
    findings: list[RecordFinding] = field(default_factory=list)
    checks: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    first: Entry | None = None
    last: Entry | None = None
    link: Link = field(default_factory=Link)
    expected: tuple[int, str] | None = None
    seen: str | None = None
    latest: int | None = None
    torn: int = field(init=False)
    kept: list[tuple[Entry, ...]] | None = field(default_factory=list)
    reduced: tuple[str, ...] = ()
    erased: tuple[str, ...] = ()
    sealers: tuple[tuple[str, str], ...] = ()

    def report(
        self,
        device_key: str | None,
        expected: tuple[int, str] | None,
        state: Path | None,
        replay: Replay | None,
    ) -> VerificationReport:
        self.visit.must_hold_record(self.files)
        self.expected = expected
        try:
            self._walk()
            if self.first is not None:
                self._compare_device(self.first, device_key)
                self._compare_head()
                self._compare_witness(state, self.first)
                if replay is not None and not self.findings:
                    self._decide_again(replay)
        except OSError as error:
            raise disk_problem(error, "reading the record", self.visit.folder) from error
        return self._concluded()

    def _walk(self) -> None:
        holdings = Holdings(self.visit, self.files, self.redacted, self.taken_out)
        with self.files.read(self.visit.ledger) as stream:
            for found in batches_of(lines_of(stream)):
                if isinstance(found, Rest):
                    stream.seek(found.offset)
                    tail = stream.read(LONGEST_TAIL)
                    self.link = found.link
                    finding = diagnose(found, tail)
                    self.torn = len(tail)
                else:
                    self._keep(found)
                    for entry in found:
                        self._note(entry)
                        self.findings += holdings.check(entry)
        if self.first is not None:
            self.checks += ["chain", "seals", "dates", *holdings.checks()]
        self.findings += [finding] if finding else []
        self.remarks += holdings.remarks()
        self.erased = tuple(holdings.erased)
        self.remarks += self.erased
        self.reduced, self.sealers = tuple(holdings.reduced), tuple(holdings.sealers.items())

    def _keep(self, batch: tuple[Entry, ...]) -> None:
        """Keep a batch for deciding again, unless there are too many."""
        if self.kept is not None:
            self.kept.append(batch)
            if len(self.kept) > MOST_KEPT:
                self.kept = None

    def _note(self, entry: Entry) -> None:
        """Remember the ends of the record and say what its clocks show."""
        if self.last is None:
            self.first = entry
            self.remarks += _of_procedure(entry.event)
        else:
            if entry.wall < self.last.wall and entry.kind in {RESUMED, CLOCK_JUMPED}:
                self.remarks.append(f"at entry {entry.seq} the date goes back from {self.last.at} to {entry.at}")
            if entry.boot == self.last.boot and entry.mono < self.last.mono:
                self.remarks.append(f"at entry {entry.seq} the steady clock goes back")
        if entry.kind == CLOCK_JUMPED:
            event = entry.event
            self.remarks.append(
                f"at entry {entry.seq} the clock was set by {event['by'] / 1000:+.1f} s; "
                f"the zone was {event['utc_offset_before']:+d} and is {event['utc_offset']:+d} minutes from UTC",
            )
        if entry.kind in {OPENED, RESUMED, CLOCK_JUMPED} and entry.wall < milliseconds(BEFORE_THE_PROGRAM):
            self.remarks.append(
                f"the date at entry {entry.seq} is wrong: {entry.at} is before this program existed"
            )
        if entry.kind == RESUMED:
            self.remarks.append(f"the visit was interrupted before entry {entry.seq}, and resumed")
        if self.latest is not None and entry.wall > self.latest:
            self.latest = None  # the first one is told
            why = f"it is dated {entry.at}, and that has not come yet"
            self.findings.append(RecordFinding(entry.seq, FaultClass.FUTURE, why))
        if self.expected is not None and entry.seq == self.expected[0] - 1:
            self.seen = checksum_of(entry.digest)
        self.last = entry

    def _compare_device(self, first: Entry, device_key: str | None) -> None:
        assert first.device is not None
        if device_key is None:
            return
        self.checks.append("device key")
        if first.device.key != device_key.strip().lower():
            self.findings.insert(
                0,
                RecordFinding(0, FaultClass.FOREIGN_DEVICE, "the device key given is not the one that sealed it"),
            )

    def _compare_head(self) -> None:
        if self.expected is None:
            return
        self.checks.append("count and checksum")
        count, checksum = self.expected
        if self._cut(count, "were read out"):
            return
        if self.seen != checksum:
            why = f"up to here the checksum is {self.seen}, and {checksum} was read out"
            self._find(RecordFinding(max(count - 1, 0), FaultClass.CHANGED, why))

    def _compare_witness(self, state: Path | None, first: Entry) -> None:
        try:
            kept = None if state is None else SealingKey(self.files, state, first.digest).read()
        except Problem as problem:
            self.remarks.append(f"this device's own count was not compared: {problem.sentence()}")
            return
        if kept is None:
            return
        self.checks.append("this device's own count")
        self._cut(kept.head.count, "were recorded on this device")

    def _cut(self, count: int, known: str) -> bool:
        """Note that entries known of are missing, unless a finding explains it; say whether they are."""
        cut = count > self.link.seq
        if cut and not self.findings:
            why = f"{count} entries {known} and {self.link.seq} are left"
            self._find(RecordFinding(self.link.seq, FaultClass.TRUNCATED, why))
        return cut

    def _decide_again(self, replay: Replay) -> None:
        self.checks.append("decisions")
        again = batches(self.visit.folder, self.files) if self.kept is None else iter(self.kept)
        for difference in replay(again):
            if difference.same_version:
                self._find(RecordFinding(difference.seq, FaultClass.DECISION_ALTERED, difference.why))
            else:
                self.remarks.append(
                    f"decided again by another version, entry {difference.seq} differs: {difference.why}"
                )

    def _find(self, finding: RecordFinding) -> None:
        self.findings.append(finding)
        self.findings.sort(key=lambda each: each.seq)

    def _concluded(self) -> VerificationReport:
        head = Head(self.link.seq, self.link.prev) if self.link.seq else None
        if self.findings:
            verdict, sentence = RecordVerdict.BROKEN, broken_sentence(self.findings)
        elif head and self.last and self.link.closed:
            verdict = RecordVerdict.REDUCED if self.reduced else RecordVerdict.CLOSED
            sentence = closed_sentence(head, self.last, self.erased)
        else:
            verdict, sentence = RecordVerdict.OPEN, open_sentence(head, self.torn, self._tail_known(head))
            self.findings.append(RecordFinding(self.link.seq, FaultClass.NOT_CLOSED, sentence))
        device = self.first.device if self.first else None
        return VerificationReport(
            folder=self.visit.folder,
            verdict=verdict,
            sentence=sentence,
            head=head,
            findings=tuple(self.findings),
            checks=tuple(self.checks),
            remarks=tuple(self.remarks),
            identity=self.first.digest if self.first else None,
            opened_at=self.first.at if self.first else None,
            last_at=self.last.at if self.last else None,
            device=device.key if device else None,
            use=device.use if device else None,
            sealers=self.sealers,
            reduced=self.reduced,
            erased=self.erased,
            demo=self.first is not None and self.first.event.get("demo") is True,
        )

    def _tail_known(self, head: Head | None) -> bool:
        given = self.expected is not None and head is not None and self.expected[0] == head.count
        return given or "this device's own count" in self.checks


def _of_procedure(opened: Mapping[str, Any]) -> Iterator[str]:
    """Yield what the first entry says against the procedure that led the visit."""
    standing = opened.get("standing")
    if isinstance(standing, Mapping) and standing.get("status") == "draft":
        yield "it was led by a draft, a procedure that no author approved"
    if unproven := [str(name) for name in opened.get("unproven") or ()]:
        yield f"it was led by a procedure that is not proven: {', '.join(unproven)}"
