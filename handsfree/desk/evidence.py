"""What the supervisor's rules look at: the record with everything derived from it, each derived once."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import Any

from handsfree.desk import measured, spans
from handsfree.desk.record import Recorded, Step
from handsfree.events import decisions as ev
from handsfree.ledger import Report
from handsfree.trades.combustion.fuels import Fuel
from handsfree.trades.combustion.sheets import CombustionSheets
from handsfree.trades.combustion.stops import fuel_of


class Result(StrEnum):
    """What can be said of one thing a supervisor verifies."""

    PASS = "pass"  # noqa: S105 - a verdict, no word to enter by
    FAIL = "fail"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class Finding:
    """A result with its reason and the entry that shows it."""

    result: Result
    why: str
    seq: int | None = None


def passed(why: str, seq: int | None = None) -> Finding:
    """Return a pass."""
    return Finding(Result.PASS, why, seq)


def failed(why: str, seq: int | None = None) -> Finding:
    """Return a fail."""
    return Finding(Result.FAIL, why, seq)


def unknown(why: str, seq: int | None = None) -> Finding:
    """Return that it cannot be told from the record."""
    return Finding(Result.CANNOT_TELL, why, seq)


Item = Mapping[str, Any]


@dataclass(frozen=True)
class Evidence:
    """One visit under the supervisor's eye.

    `report` is what verification found (None: not verified), `alike` the other visits whose flue readings
    are the same one by one (None: the other visits are not known here).
    """

    recorded: Recorded
    report: Report | None = None
    alike: Sequence[str] | None = field(default=None)

    @property
    def sheets(self) -> CombustionSheets | None:
        """The sheets of the visit, when they can be read and are of combustion."""
        sheets = self.recorded.plan.sheets if self.recorded.plan else None
        return sheets if isinstance(sheets, CombustionSheets) else None

    @cached_property
    def fuel(self) -> Fuel | None:
        """The job's fuel, when the sheets can be read."""
        return fuel_of(self.sheets) if self.sheets else None

    @cached_property
    def groups(self) -> list[measured.Group]:
        """The measured groups."""
        return measured.groups(self.recorded)

    @cached_property
    def rates(self) -> tuple[measured.BeforeAfter, measured.BeforeAfter]:
        """Found and left at maximum and minimum."""
        return measured.before_after(self.groups)

    @cached_property
    def flue(self) -> list[measured.Group]:
        """The settled groups of flue readings."""
        return [group for group in self.groups if group.settled and {"co2", "o2"} <= group.values.keys()]

    @cached_property
    def alterations(self) -> list[spans.Alteration]:
        """What was altered and where it was put back."""
        return spans.alterations(self.recorded)

    @cached_property
    def gates(self) -> list[spans.GateSpan]:
        """The passages of the gates."""
        return spans.gate_spans(self.recorded)

    @cached_property
    def verdicts(self) -> list[tuple[Step, ev.VerdictGiven]]:
        """All verdicts."""
        return self.recorded.all(ev.VerdictGiven)

    @cached_property
    def final_verdicts(self) -> list[tuple[Step, ev.VerdictGiven]]:
        """The last verdict of each gate: those that stand at the end."""
        last = {verdict.gate: (step, verdict) for step, verdict in self.verdicts}
        return sorted(last.values(), key=lambda each: each[0].seq)

    @cached_property
    def turns(self) -> list[tuple[Step, ev.Turned]]:
        """The turns as called."""
        return self.recorded.all(ev.Turned)

    @cached_property
    def readings(self) -> list[tuple[Step, ev.ReadingAccepted]]:
        """The accepted readings."""
        return self.recorded.all(ev.ReadingAccepted)

    @cached_property
    def not_done(self) -> list[tuple[Step, ev.NotDone]]:
        """The gates passed undone."""
        return self.recorded.all(ev.NotDone)

    @cached_property
    def finished(self) -> bool:
        """Whether the visit came to its end."""
        return self.recorded.closed is not None and self.recorded.closed.outcome == "finished"

    def gate_ids(self, names: Sequence[str]) -> list[str]:
        """Return the procedure's gates of these names, whatever file they were included from."""
        known = self.recorded.plan.procedure.gates if self.recorded.plan else self.recorded.titles
        return [gate for gate in known if gate.rsplit("/", 1)[-1] in names]

    def last(self, quantity: str) -> tuple[Step, ev.ReadingAccepted] | None:
        """Return the last accepted reading of a quantity."""
        found = [each for each in self.readings if each[1].reading.quantity == quantity]
        return found[-1] if found else None

    def source_digest(self, name: str) -> str | None:
        """Return the SHA-256 of a file kept with the visit, None when it is not there."""
        path = self.recorded.folder / "sources" / name
        if "/" in name or name.startswith(".") or not path.is_file():
            return None
        return hashlib.sha256(path.read_bytes()).hexdigest()


__all__ = ["Evidence", "Finding", "Item", "Result", "failed", "passed", "unknown"]
