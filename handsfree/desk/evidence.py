"""What the supervisor's rules look at: the record with everything derived from it, each derived once."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from functools import cached_property

from handsfree.desk import measured, spans, wording
from handsfree.desk.ending import VisitEnd, ending_of
from handsfree.desk.forms import Forms, forms_of, forms_of_own
from handsfree.desk.record import Recorded, RecordedStep
from handsfree.events import decisions as ev
from handsfree.ledger import VerificationReport
from handsfree.office.enrolment import Enrolment
from handsfree.rehearing.findings import HeardAgain
from handsfree.trades.supervision import (
    AssessedAs,
    Assessment,
    CalledReading,
    Item,
    JointReadings,
    VerdictNumbers,
    failed,
    not_asked,
    passed,
    unknown,
)


@dataclass(frozen=True)
class Evidence:
    """One visit under the supervisor's eye; it is the `RecordedVisit` that a trade's own rules ask.

    `report` is what verification found (None: not verified), `alike` the other visits whose readings are the
    same one by one (None: the other visits are not known here), `heard_again` what its sound holds (None: it was
    not heard again yet), `enrolment` who the office knows (None: it is not known here).
    """

    recorded: Recorded
    report: VerificationReport | None = None
    alike: Sequence[str] | None = field(default=None)
    heard_again: HeardAgain | None = None
    enrolment: Enrolment | None = None

    @cached_property
    def forms(self) -> Forms:
        """The checklist and the report's form of the visit's trade."""
        plan = self.recorded.plan
        own = plan is not None and plan.procedure.trade.own
        return forms_of_own(plan.procedure.trade) if plan and own else forms_of(self.recorded.trade)

    @cached_property
    def groups(self) -> list[measured.Group]:
        """The measured groups."""
        return measured.groups(self.recorded)

    @cached_property
    def pairs(self) -> tuple[measured.FoundAndLeft, ...]:
        """Found and left at each measurement point; nothing is left by a visit that did not come to its end."""
        turns = [step.at for step, turn in self.turns if turn.eighths]
        form = self.forms.report.measured
        return measured.found_and_left(self.groups, form, turns, ended=self.ending.came_to_its_end)

    @cached_property
    def ending(self) -> VisitEnd:
        """How it ended and what stands open."""
        return ending_of(self.recorded)

    @cached_property
    def main(self) -> list[measured.Group]:
        """The groups that stand and hold the quantity that the work sets."""
        first = self.forms.report.measured.quantities[:1]
        return [group for group in self.groups if group.stands and set(first) <= group.values.keys()]

    @cached_property
    def alterations(self) -> list[spans.Alteration]:
        """What was altered and where it was put back."""
        return spans.alterations(self.recorded)

    @cached_property
    def gates(self) -> list[spans.GateSpan]:
        """The passages of the gates."""
        return spans.gate_spans(self.recorded)

    @cached_property
    def verdicts(self) -> list[tuple[RecordedStep, ev.VerdictGiven]]:
        """All verdicts."""
        return self.recorded.all(ev.VerdictGiven)

    @cached_property
    def final_verdicts(self) -> list[tuple[RecordedStep, ev.VerdictGiven]]:
        """The last verdict of each gate: those that stand at the end."""
        last = {verdict.gate: (step, verdict) for step, verdict in self.verdicts}
        return sorted(last.values(), key=lambda each: each[0].seq)

    def stands(self, verdict: ev.VerdictGiven) -> bool:
        """Say whether no later verdict of the same calculation at the same rate or point stands in its place."""
        same = [
            other
            for _, other in self.verdicts
            if other.calculation == verdict.calculation
            and self.judged_for(other.gate) == self.judged_for(verdict.gate)
        ]
        return same[-1] is verdict

    @cached_property
    def standing_verdicts(self) -> list[tuple[RecordedStep, ev.VerdictGiven]]:
        """The verdicts in whose place no later one stands.

        One that lacks a reading that was never asked for on this visit's way says nothing: where no screw was
        turned there is no second pass.
        """
        return [
            (step, verdict)
            for step, verdict in self.final_verdicts
            if self.stands(verdict)
            and not (verdict.outcome == "missing" and self.recorded.never_asked_for(verdict.gate))
        ]

    @cached_property
    def turns(self) -> list[tuple[RecordedStep, ev.Turned]]:
        """The turns as called."""
        return self.recorded.all(ev.Turned)

    @cached_property
    def readings(self) -> list[tuple[RecordedStep, ev.ReadingAccepted]]:
        """The accepted readings."""
        return self.recorded.all(ev.ReadingAccepted)

    @cached_property
    def noted(self) -> list[ev.Noted]:
        """What was found and is told in a few words; where a gate was entered again, only what was found then."""
        found: dict[str, ev.Noted] = {}
        for step in self.recorded.steps:
            match step.event:
                case ev.GateEntered(gate=gate):
                    found.pop(gate, None)
                case ev.Noted() as event if event.answer:
                    found[event.gate] = event
                case _:
                    pass
        return list(found.values())

    @cached_property
    def told(self) -> str:
        """Notes, reasons and what was told after a stop, as far as they are in words."""
        notes = [event.text for _, event in self.recorded.all(ev.Noted)]
        reasons = [event.reason for _, event in self.recorded.all(ev.NotDone)]
        return " ".join([*notes, *reasons, *(event.text for _, event in self.recorded.all(ev.StepReported))])

    @cached_property
    def not_done(self) -> list[tuple[RecordedStep, ev.NotDone]]:
        """The gates whose last passage left them undone."""
        standing = {one.seq for one in self.ending.left_out}
        return [(step, event) for step, event in self.recorded.all(ev.NotDone) if step.seq in standing]

    @cached_property
    def finished(self) -> bool:
        """Whether the visit came to its end, with what it was for or without; none does that was left off."""
        return self.ending.came_to_its_end

    def gate_ids(self, names: Sequence[str]) -> list[str]:
        """Return the procedure's gates of these names, whatever file they were included from.

        What the sheets of the visit let nobody come to is none of them.
        """
        plan, possible = self.recorded.plan, self.recorded.possible
        known = [one for one in (plan.procedure.gates if plan else self.recorded.titles) if _last(one) in names]
        if possible is None:
            return known
        come_to = {one.gate for one in self.ending.not_asked}
        return [gate for gate in known if gate in possible or gate in come_to]

    def judged_for(self, gate: str) -> str:
        """Return what a verdict gate judges for: verdicts of one calculation for the same overtake each other.

        That is its rate, or the rates of the readings that it compares; the point of its readings in a trade that
        counts by measurement points; and the point with the quantity for a gate with limits of its own, so that
        no reading within covers another one outside.
        """
        limits = self.recorded.own_limits(gate)
        rate = self.recorded.rate_of(gate) or " and ".join(self.recorded.rates_judged(gate))
        if limits is None and (rate or self.forms.report.measured.by != "point"):
            return rate
        points = " ".join(self.recorded.points_judged(gate)) or gate
        return points if limits is None else f"{points}, {wording.quantity(limits).lower()}"

    def last(self, quantity: str) -> tuple[RecordedStep, ev.ReadingAccepted] | None:
        """Return the last accepted reading of a quantity."""
        found = [each for each in self.readings if each[1].reading.quantity == quantity]
        return found[-1] if found else None

    def source_digest(self, name: str) -> str | None:
        """Return the SHA-256 of a file kept with the visit, None when it is not there."""
        path = self.recorded.folder / "sources" / name
        if "/" in name or name.startswith(".") or not path.is_file():
            return None
        return hashlib.sha256(path.read_bytes()).hexdigest()

    def sheet(self, path: str) -> object | None:
        """Return what the sheets hold at a path of names and keys ("job.site"); None when there is nothing."""
        found = at(self.recorded.plan.sheets, path) if self.recorded.plan else None
        return self.recorded.told(found) if isinstance(found, str) else found

    # What a trade's own rules ask (`handsfree.trades.supervision.Visit`).

    def standing(self, *quantities: str) -> list[JointReadings]:
        """Return the sets that stand and hold all of these quantities, in the order they were taken."""
        held = [set_of(group) for group in self.groups if group.stands]
        return [each for each in held if set(quantities) <= each.values.keys()]

    def left(self, *quantities: str) -> list[JointReadings]:
        """Return the set that was left at each measurement point, of those that hold all of these quantities."""
        held = [set_of(pair.left) for pair in self.pairs if pair.left is not None]
        return [each for each in held if set(quantities) <= each.values.keys()]

    def called(self, quantity: str) -> list[CalledReading]:
        """Return the accepted numbers of a quantity; a group without a rate counts for the rate before it."""
        found, rate = [], ""
        for group in self.groups:
            rate = group.rate or rate
            for taken in group.readings:
                value = number(taken.event.reading.value)
                if taken.event.reading.quantity == quantity and value is not None:
                    found.append(CalledReading(rate, value, taken.step.seq))
        return found

    def last_called(self, quantity: str) -> CalledReading | None:
        """Return the number of a quantity that was accepted last; None when the last was no number."""
        last = self.last(quantity)
        value = None if last is None else number(last[1].reading.value)
        return None if last is None or value is None else CalledReading("", value, last[0].seq)

    def numbers(self, calculation: str) -> list[VerdictNumbers]:
        """Return the numbers of each verdict of a calculation, in order."""
        return [
            VerdictNumbers(self.recorded.rate_of(verdict.gate), verdict.numbers)
            for _, verdict in self.verdicts
            if verdict.calculation == calculation
        ]

    def answered(self, gates: Sequence[str], good: Sequence[str]) -> Assessment:
        """Judge whether a gate was passed with a good answer."""
        known = self.gate_ids(gates)
        if not known:
            return not_asked("the procedure has no such gate")
        undone = {event.gate: (step, event) for step, event in self.not_done}
        for gate in known:
            if gate in undone:
                step, event = undone[gate]
                return failed(f"not done: {wording.reason(event.reason)}", step.seq)
        passages = [span for span in self.gates if span.gate in known and span.outcome]
        passed_over = {one.gate: one for one in self.ending.not_asked}
        if passages and all(span.gate in passed_over for span in passages):
            return not_asked(f"not asked, since {passed_over[passages[-1].gate].reason}")
        passages = [span for span in passages if span.gate not in passed_over]
        if not passages:
            return failed("the visit never came to it") if self.finished else unknown("the visit ended before it")
        last = passages[-1]
        words = f"{last.title}: {last.outcome}, at {wording.clock(last.until)}"
        return passed(words, last.seq) if last.outcome in good else failed(words, last.seq)

    def text(self, path: str) -> str:
        """Return a text of the sheets by its path; empty when there is none."""
        found = self.sheet(path)
        return found if isinstance(found, str) else ""

    def exact(self, path: str) -> Decimal | None:
        """Return a number of the sheets by its path; None when there is none."""
        found = self.sheet(path)
        return found if isinstance(found, Decimal) else None


def _last(gate: str) -> str:
    """Return the id of a gate in its own file."""
    return gate.rsplit("/", 1)[-1]


def at(whole: object | None, path: str) -> object | None:
    """Return what a model holds at a path of names and keys; None when there is nothing."""
    for name in path.split("."):
        whole = whole.get(name) if isinstance(whole, Mapping) else getattr(whole, name, None)
    return whole


def number(text: str) -> Decimal | None:
    """Return a reading's value as a number; None for "over range" and "no reading"."""
    try:
        found = Decimal(text)
    except InvalidOperation:
        return None
    return found if found.is_finite() else None


def value_given(verdict: ev.VerdictGiven) -> Decimal | None:
    """Return the value that a calculation gave, without the unit that may stand behind it; None for none."""
    return number(verdict.numbers.get("value", "").split(" ")[0])


def set_of(group: measured.Group) -> JointReadings:
    """Return a group as a trade's rule sees it: its numbers, under its rate or measurement point."""
    numbers = {name: number(value.reading.value) for name, value in group.values.items()}
    held = {name: value for name, value in numbers.items() if value is not None}
    return JointReadings(group.title, group.rate or group.kept_at, held, group.stood_seq)


__all__ = [
    "AssessedAs",
    "Assessment",
    "Evidence",
    "Item",
    "at",
    "failed",
    "not_asked",
    "number",
    "passed",
    "set_of",
    "unknown",
    "value_given",
]
