"""The measured groups of a visit: each run of sets at one place, what it settled to, and what was judged of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from handsfree.desk.record import Recorded, Step
from handsfree.events import decisions as ev
from handsfree.gates.verdict import VerdictGate

FLUE = ("co2", "o2", "co")


@dataclass(frozen=True)
class Value:
    """What a quantity settled to; `uncertainty` is the standard uncertainty that settling leaves, as text."""

    reading: ev.ReadingRecord
    uncertainty: str = ""


@dataclass(frozen=True)
class Taken:
    """One accepted reading."""

    step: Step
    event: ev.ReadingAccepted


@dataclass
class Group:
    """Readings of one place in a row: from the first set to what settled, or to where they were voided."""

    kept_at: str
    title: str
    rate: str
    readings: list[Taken] = field(default_factory=list)
    values: dict[str, Value] = field(default_factory=dict)
    settled_at: int | None = None
    settled_seq: int | None = None
    voided: str = ""
    verdict: ev.VerdictGiven | None = None

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
    def settled(self) -> bool:
        """Whether a value stands for it."""
        return self.settled_at is not None

    def series(self, quantity: str) -> list[tuple[int, str]]:
        """Return when each value of a quantity was accepted, and the value."""
        return [
            (taken.step.at, taken.event.reading.value)
            for taken in self.readings
            if taken.event.reading.quantity == quantity
        ]


def groups(recorded: Recorded) -> list[Group]:
    """Return all measured groups in the order they began."""
    found: list[Group] = []
    current: dict[str, Group] = {}
    rate = gate_rate = ""
    for step in recorded.steps:
        match step.event:
            case ev.GateEntered(gate=gate):
                gate_rate = _rate_of(recorded, gate)
                rate = gate_rate
            case ev.RateCalled(rate=called):
                rate = called
            case ev.ReadingAccepted() as event:
                group = current.get(event.kept_at)
                if group is None or group.settled or group.voided:
                    group = Group(event.kept_at, recorded.gate_title(event.gate), rate)
                    current[event.kept_at] = group
                    found.append(group)
                group.readings.append(Taken(step, event))
            case ev.ValueSettled(kept_at=kept_at) as event if kept_at in current:
                current[kept_at].values[event.reading.quantity] = Value(event.reading, event.uncertainty)
                current[kept_at].settled_at, current[kept_at].settled_seq = step.at, step.seq
            case ev.SetVoided(kept_at=kept_at, why=why) if kept_at in current:
                current[kept_at].voided = why
            case ev.VerdictGiven(calculation="combustion-at-rate") as event:
                judged = current.get(_judges(recorded, event.gate))
                if judged is not None:
                    judged.verdict = event
            case _:
                pass
    return found


def _rate_of(recorded: Recorded, gate: str) -> str:
    if recorded.plan is None or gate not in recorded.plan.procedure.gates:
        return ""
    return str(getattr(recorded.plan.gate(gate).gate, "rate", None) or "")


def _judges(recorded: Recorded, gate: str) -> str:
    """Return where the readings were kept that a verdict gate judges."""
    if recorded.plan is not None and gate in recorded.plan.procedure.gates:
        block = recorded.plan.gate(gate).gate
        if isinstance(block, VerdictGate):
            return block.using.get("readings", "")
    return ""


@dataclass(frozen=True)
class BeforeAfter:
    """The first and the last settled flue readings at one rate; the same group when it was measured once.

    `after` is None when the last no longer counts: an adjuster was turned since, or it was being taken again.
    """

    rate: str
    before: Group | None
    after: Group | None

    @property
    def once(self) -> bool:
        """Whether the rate was measured only once."""
        return self.before is not None and self.before is self.after


def before_after(found: list[Group]) -> tuple[BeforeAfter, BeforeAfter]:
    """Return what was found and what was left at maximum and at minimum rate."""
    return _of_rate(found, "maximum"), _of_rate(found, "minimum")


def _of_rate(found: list[Group], rate: str) -> BeforeAfter:
    settled = [group for group in found if group.settled and group.rate == rate and "co2" in group.values]
    left = settled[-1] if settled and not settled[-1].voided else None
    return BeforeAfter(rate, settled[0] if settled else None, left)
