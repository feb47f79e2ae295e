"""What verification found, in words that can be read out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise
from pathlib import Path
from typing import Any

from handsfree.ledger.chain import FaultClass
from handsfree.ledger.diagnosis import RecordFinding
from handsfree.ledger.entry import Entry
from handsfree.ledger.head import Head


class RecordVerdict(StrEnum):
    """What can be said of a record as a whole."""

    CLOSED = "closed"
    """Whole from the opening to the close."""
    REDUCED = "reduced"
    """Whole to the close as far as it is there: sound was left out or redacted by somebody who may."""
    OPEN = "open"
    """Sound as far as it goes, but without a close."""
    BROKEN = "broken"
    """Something was changed, removed, added, moved, forged or lost."""


class AnchorState(StrEnum):
    """Who vouches for the key that the seals lead to."""

    ENROLLED = "enrolled"
    """The office's list."""
    OWN_LIST = "own list"
    """A list that a machine made for itself."""
    KEY_GIVEN = "key given"
    """Whoever gave the device's key to compare."""
    DEMO = "demo"
    """Nobody needs to: the visit is invented, and says so."""
    UNANCHORED = "unanchored"
    """Nobody: anybody can make such a record with a key of their own."""


@dataclass(frozen=True)
class Anchor:
    """Who vouches for the key that the seals lead to, and a sentence that says it."""

    state: AnchorState
    says: str

    @property
    def holds(self) -> bool:
        """Say whether anybody does, or the record claims nothing."""
        return self.state != AnchorState.UNANCHORED


@dataclass(frozen=True)
class VerificationReport:
    """What verification found; `findings` are in the order of the entries, `checks` are those that were made.

    `identity` is the digest of the first entry, which names the visit, `opened_at` and `last_at` are the dates of
    its first and last entry; `device` is the public key that its seal leads to and `use` the number of that
    device's one-time key. `demo` says that the visit is invented. `anchor` is None where nobody asked for it.
    """

    folder: Path
    verdict: RecordVerdict
    sentence: str
    head: Head | None
    findings: tuple[RecordFinding, ...]
    checks: tuple[str, ...]
    remarks: tuple[str, ...]
    identity: str | None = None
    opened_at: str | None = None
    last_at: str | None = None
    device: str | None = None
    use: int | None = None
    sealers: tuple[tuple[str, str], ...] = ()
    """What a device sealed beside the record, with the key of that device."""
    reduced: tuple[str, ...] = ()
    """Why sound is not there, in clauses, where somebody who may says so."""
    erased: tuple[str, ...] = ()
    """What was erased on behalf of persons, by whom, when and why, in clauses."""
    demo: bool = False
    anchor: Anchor | None = None

    @property
    def whole(self) -> bool:
        """Say whether the record is closed and everything in it fits, with all its sound or without some."""
        return self.verdict in {RecordVerdict.CLOSED, RecordVerdict.REDUCED}

    @property
    def ok(self) -> bool:
        """Say whether the record is whole (see `whole`) and anchored, and something was checked to say so."""
        anchored = self.anchor is None or self.anchor.holds
        return self.whole and bool(self.checks) and anchored

    @property
    def first_bad(self) -> int | None:
        """Return the number of the first entry that is bad, or of the one that is missing at the end."""
        return self.findings[0].seq if self.findings else None

    @property
    def fault(self) -> FaultClass | None:
        """Return the class of the first fault."""
        return self.findings[0].fault if self.findings else None

    def as_json(self) -> dict[str, Any]:
        """Return the report for a machine to read."""
        return {
            "folder": str(self.folder),
            "verdict": self.verdict.value,
            "ok": self.ok,
            "sentence": self.sentence,
            "entries": self.head.count if self.head else 0,
            "checksum": self.head.checksum if self.head else None,
            "digest": self.head.digest if self.head else None,
            "first_bad": self.first_bad,
            "fault": self.fault.value if self.fault else None,
            "findings": [{"seq": f.seq, "fault": f.fault.value, "why": f.why} for f in self.findings],
            "checks": list(self.checks),
            "remarks": list(self.remarks),
            "erased": list(self.erased),
            "identity": self.identity,
            "opened_at": self.opened_at,
            "device": self.device,
            "use": self.use,
            "demo": self.demo,
            "anchor": self.anchor.state.value if self.anchor else None,
            "anchored": self.anchor.says if self.anchor else None,
        }


def also_found(report: VerificationReport, findings: Sequence[RecordFinding]) -> VerificationReport:
    """Return the report with findings that somebody else made of the same record."""
    if not findings:
        return report
    kept = [each for each in report.findings if each.fault != FaultClass.NOT_CLOSED]
    every = sorted([*kept, *findings], key=lambda each: each.seq)
    return replace(report, verdict=RecordVerdict.BROKEN, sentence=broken_sentence(every), findings=tuple(every))


def broken_sentence(findings: Sequence[RecordFinding]) -> str:
    """Return what to say of a record with faults."""
    first = findings[0]
    more = f"; {len(findings) - 1} more findings follow" if len(findings) > 1 else ""
    return f"entry {first.seq}: {first.fault} ({first.why}){more}"


def closed_sentence(head: Head, last: Entry, erased: Sequence[str] = ()) -> str:
    """Return what to say of a record that is whole to its close, and of what was erased from beside it."""
    whole = f"all {head.count} entries are whole, in order and sealed, closed {last.at}, checksum {head.checksum}"
    return "; ".join([whole, *erased])


def open_sentence(head: Head | None, torn: int, tail_known: bool) -> str:
    """Return what to say of a record without a close, and how far that can be judged."""
    if head is None:
        return "no whole entry is there: the visit was cut off while it began, and nothing can be checked"
    cut = f", then {torn} bytes of an unfinished write, as a power cut leaves them" if torn else ""
    doubt = "whether more was recorded and cut off, the record alone cannot tell: compare count and checksum"
    if tail_known:
        doubt = "nothing that was recorded is missing at the end"
    return (
        f"{head.count} entries are whole, in order and sealed, checksum {head.checksum}{cut}; "
        f"the close is missing, so the visit is going on or was interrupted; {doubt}"
    )


def across(reports: Sequence[VerificationReport]) -> tuple[str, ...]:
    """Return what is odd when records of one device are laid side by side, one sentence each.

    Each visit uses the next one-time key of its device: two visits with the same number cannot both be
    genuine, and a later number with an earlier date has a wrong clock or was made up afterwards.
    """
    odd = []
    dated = {report.identity: report for report in reports if report.identity}  # a copy is the same visit
    for before, after in pairwise(sorted(dated.values(), key=_number)):
        if before.device != after.device:
            continue
        both = f"{before.folder} and {after.folder}"
        if before.use == after.use:
            odd.append(f"{both} bear the same number {after.use} of one device, so one is forged")
        elif (before.opened_at or "") > (after.opened_at or ""):
            odd.append(f"{both} are numbered {before.use} and {after.use} but dated the other way round")
    return tuple(odd)


def _number(report: VerificationReport) -> tuple[str, int, str]:
    return report.device or "", report.use or 0, str(report.folder)
