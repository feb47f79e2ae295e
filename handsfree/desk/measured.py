"""The measured groups of a visit: each run of sets at one measurement point, its value, its verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from handsfree.desk.forms import MeasuredForm
from handsfree.desk.record import Recorded, RecordedStep
from handsfree.events import decisions as ev

CALLED_WRONG = "the person called it wrong"
"""Why readings were set aside that were never true, as the session records it."""

WHOLE_VISIT = "visit"
"""The one measurement point of a trade whose measurements are told for the visit as a whole."""


@dataclass(frozen=True)
class MeasuredValue:
    """What a quantity came to; `uncertainty` is the standard uncertainty that settling leaves, as text."""

    reading: ev.ReadingRecord
    uncertainty: str = ""


@dataclass(frozen=True)
class Taken:
    """One accepted reading."""

    step: RecordedStep
    event: ev.ReadingAccepted


@dataclass
class Group:
    """Readings of one place in a row: from the first set to what settled, or to where they were voided.

    Where a gate asks for no settling, each passage of it is a group and its last values stand.
    """

    kept_at: str
    title: str
    rate: str
    settles: bool
    passage: int
    readings: list[Taken] = field(default_factory=list)
    values: dict[str, MeasuredValue] = field(default_factory=dict)
    stood_seq: int | None = None
    voided: str = ""
    verdicts: dict[str, ev.VerdictGiven] = field(default_factory=dict)

    @property
    def began(self) -> int:
        """When its first reading was accepted, ms of the visit."""
        return self.readings[0].step.at

    @property
    def ended(self) -> int:
        """When its last reading was accepted."""
        return self.readings[-1].step.at

    @property
    def sets(self) -> int:
        """How many sets it holds."""
        return max(taken.event.number for taken in self.readings)

    @property
    def stands(self) -> bool:
        """Whether a value stands for it."""
        return self.stood_seq is not None

    @property
    def settled(self) -> bool:
        """Whether what stands was settled from several sets."""
        return self.stands and self.settles

    @property
    def quantities(self) -> set[str]:
        """What was read in it."""
        return {taken.event.reading.quantity for taken in self.readings}

    def series(self, quantity: str) -> list[tuple[int, str]]:
        """Return when each value of a quantity was accepted, and the value."""
        return [
            (taken.step.at, taken.event.reading.value)
            for taken in self.readings
            if taken.event.reading.quantity == quantity
        ]

    def verdict(self, calculations: Sequence[str]) -> ev.VerdictGiven | None:
        """Return the verdict of the first of these calculations that judged it."""
        return next((self.verdicts[name] for name in calculations if name in self.verdicts), None)


def groups(recorded: Recorded) -> list[Group]:
    """Return all measured groups in the order they began."""
    return _Groups(recorded).told()


class _Groups:
    """The groups so far, and where the visit stands."""

    def __init__(self, recorded: Recorded) -> None:
        self._recorded = recorded
        self._found: list[Group] = []
        self._current: dict[str, Group] = {}
        self._rate = ""
        self._passage = 0

    def told(self) -> list[Group]:
        for step in self._recorded.steps:
            self._tell(step)
        return self._found

    def _tell(self, step: RecordedStep) -> None:
        match step.event:
            case ev.GateEntered(gate=gate):
                self._rate, self._passage = self._recorded.rate_of(gate), self._passage + 1
            case ev.RateCalled(rate=called):
                self._rate = called
            case ev.ReadingAccepted() as event:
                self._take(step, event)
            case ev.ValueSettled(kept_at=kept_at) as event if kept_at in self._current:
                self._current[kept_at].values[event.reading.quantity] = MeasuredValue(
                    event.reading, event.uncertainty
                )
                self._current[kept_at].stood_seq = step.seq
            case ev.SetVoided(kept_at=kept_at, why=why) if kept_at in self._current:
                self._current[kept_at].voided = why
            case ev.VerdictGiven() as event:
                for kept_at in self._recorded.points_judged(event.gate):
                    if kept_at in self._current:
                        self._current[kept_at].verdicts[event.calculation] = event
            case _:
                pass

    def _take(self, step: RecordedStep, event: ev.ReadingAccepted) -> None:
        group = self._current.get(event.kept_at)
        if group is None or self._is_over(group):
            title, settles = self._recorded.gate_title(event.gate), self._recorded.settles(event.gate)
            group = Group(event.kept_at, title, self._rate, settles, self._passage)
            self._current[event.kept_at] = group
            self._found.append(group)
        group.readings.append(Taken(step, event))
        if not group.settles:
            group.values[event.reading.quantity] = MeasuredValue(event.reading)
            group.stood_seq = step.seq

    def _is_over(self, group: Group) -> bool:
        """Say whether a reading kept at the same measurement point begins another group."""
        return bool(group.voided) or (group.stands if group.settles else group.passage != self._passage)


@dataclass(frozen=True)
class FoundAndLeft:
    """The first and last readings that stand at one measurement point; the same group when measured once.

    `left` is None when the last no longer counts: an adjuster was turned since, or it was being taken again. It is
    None too when the visit did not come to its end: then nothing was left, and `last` is what was read last.
    """

    point: str
    found: Group | None
    left: Group | None
    last: Group | None = None

    @property
    def once(self) -> bool:
        """Whether the point was measured only once."""
        return self.found is not None and self.found is self.left

    @property
    def where(self) -> str:
        """The measurement point within a sentence: " at maximum"; empty when the whole visit is one point."""
        return "" if self.point == WHOLE_VISIT else f" at {self.point}"

    def headed(self, when: str) -> str:
        """Return the heading of what was found or left: "Maximum, found"."""
        named = "" if self.point == WHOLE_VISIT else f"{self.point.replace('-', ' ')}, "
        return f"{named}{when}".capitalize()


def point_of(group: Group, measured: MeasuredForm) -> str:
    """Return the measurement point that a group counts for: its rate, where it is kept, or the whole visit."""
    return {"rate": group.rate, "point": group.kept_at, "visit": WHOLE_VISIT}[measured.by]


def found_and_left(
    groups_: Sequence[Group], measured: MeasuredForm, turns: Sequence[int] = (), *, ended: bool
) -> tuple[FoundAndLeft, ...]:
    """Return what was found and what was left at each measurement point, by the trade's first quantity.

    `turns` are the times of the turns of adjusters, ms of the visit: nothing read after the first of them is as
    found, nothing read before the last is as left. `ended` says whether the visit came to its end.
    """
    if not measured.quantities:
        return ()
    main = [group for group in groups_ if group.stands and measured.quantities[0] in group.values]
    points = measured.rates if measured.by == "rate" else dict.fromkeys(point_of(each, measured) for each in main)
    pairs = []
    for point in points:
        there = [group for group in main if point_of(group, measured) == point]
        found = next((group for group in there if group.voided != CALLED_WRONG), None)
        found = found if found and not any(at < found.began for at in turns) else None
        last = there[-1] if there and not there[-1].voided else None
        left = last if ended and last and not any(at > last.ended for at in turns) else None
        pairs.append(FoundAndLeft(point, found, left, last))
    return tuple(pairs)
