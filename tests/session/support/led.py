"""Any shipped visit led by the invented technician, with what was said to it counted.

A technician who goes along says one thing for each question: what is counted is what the procedure asks for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache

from rehearsed import DAY, ROOT, sheets

from handsfree.demo.boiler import InventedBoiler
from handsfree.demo.goals import IN_BAND
from handsfree.demo.technician import InventedTechnician
from handsfree.events import decisions as ev
from handsfree.events.earlier import EarlierVisit
from handsfree.events.state import State
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.questions.put_back import PutBack
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.combustion.stops import fuel_of
from handsfree.trades.sheets import Sheets

VISITS = (
    "annual-service",
    "combustion-check",
    "commissioning",
    "fault-call",
    "gas-conversion",
    "return-with-part",
    "smell-or-co-call",
)
"""The seven visits to a boiler."""


@cache
def shipped_visit(name: str) -> Procedure:
    """Return a shipped procedure."""
    return load_procedure(ROOT / "procedures" / f"{name}.yaml")


def plan_of(name: str, other: Sheets | None = None) -> Plan:
    """Return the plan of a shipped procedure with the demo's sheets, or with others."""
    return Plan(shipped_visit(name), other or sheets()).check()


@dataclass
class Led:
    """A visit that was led: itself, and what was said at which gate."""

    visit: Rehearsal
    said: list[tuple[str, str]] = field(default_factory=list)

    @property
    def utterances(self) -> int:
        """How many times the technician spoke."""
        return len(self.said)

    @property
    def spoken(self) -> list[str]:
        """What the tool said, in order."""
        return [one.text for one in self.visit.events if isinstance(one, ev.Said | ev.Asked) and one.text]

    @property
    def turns(self) -> int:
        """How many turns were made."""
        return sum(isinstance(one, ev.Turned) for one in self.visit.events)

    @property
    def closed(self) -> ev.VisitClosed:
        """The last event; AssertionError when the visit is not closed."""
        last = self.visit.events[-1]
        assert isinstance(last, ev.VisitClosed), (self.visit.state.gate, self.visit.state.status)
        return last


class Careful(InventedTechnician):
    """The invented technician without the slips that the demo writes in, who names what was put back."""

    def answer(self, state: State) -> str:
        """Return the words said; a thing that is back is named with its state, so that nothing is read back."""
        question = state.question
        if isinstance(question, PutBack) and self.plan.things[question.thing].value is None:
            return self.plan.things[question.thing].put_back_by_name
        return super().answer(state)

    def set_called(self, state: State) -> str:
        """Return a whole set of values without a slip."""
        self.slipped = {*self.slipped, *self.plan.procedure.gates}
        return super().set_called(state)


def lead(
    plan: Plan,
    *,
    co2: Mapping[str, float] = IN_BAND,
    answers: Mapping[str, str] | None = None,
    words: Mapping[str, str] | None = None,
    until: str = "",
    most: int = 1500,
    day: date = DAY,
    earlier: tuple[EarlierVisit, ...] = (),
) -> Led:
    """Lead a visit to its end or to a stop.

    `answers` chooses at gates by the answer's name; `words` are said at a gate's first question instead. At the
    gate `until` it ends with what is said there first.
    """
    visit = Rehearsal(plan, day, earlier)
    person = Careful(plan, InventedBoiler(fuel_of(plan.sheets), co2=dict(co2)))
    person.chosen = dict(answers or {})
    own = dict(words or {})
    led = Led(visit)
    for _ in range(most):
        if visit.over or visit.state.status == "stopped":
            return led
        if not visit.asking:
            person.notice(visit.wait(), visit.state.now / 1000)
            continue
        seconds = person.seconds_before(visit.state)
        if seconds:
            visit.wait(seconds)
        gate = visit.state.gate
        text = own.pop(gate) if gate in own else person.answer(visit.state)
        led.said.append((gate, text))
        person.notice(visit.say(text), visit.state.now / 1000)
        if gate == until:
            return led
    raise AssertionError(f"no end at {visit.state.gate}")
