"""A technician who goes along with the visit: the answers that need no judgement, for rehearsals and the demo."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from handsfree.events.state import State
from handsfree.gates.outcomes import DIFFERENT
from handsfree.questions.kind import Scope
from handsfree.questions.turn import Turn
from handsfree.session.plan import Plan


@dataclass
class AgreeingPlayer:
    """Does, confirms and turns what the question at hand asks for; subclasses call values."""

    plan: Plan
    state: State

    @property
    def scope(self) -> Scope:
        """What the gate at hand asks for."""
        return self.plan.scope(self.state.gate)

    def value(self, quantity: str) -> str:
        """Return the words for the value of a quantity."""
        raise NotImplementedError(quantity)

    def does(self) -> str:
        """Return the gate's word for the work being done."""
        return next(iter(self.scope.answers.values()))[0]

    def chooses(self) -> str:
        """Return the gate's first answer, of those that name what the sheets say where one must."""
        led = {name: self.plan.led_to(self.state.gate, name) for name in self.scope.answers}
        different = self.plan.gate(self.state.gate).transitions.get(DIFFERENT)
        right = next((name for name, to in led.items() if to != different), next(iter(led)))
        return self.scope.answers[right][0]

    def calls(self, quantities: tuple[str, ...]) -> str:
        """Return the values of the quantities, or of all that the gate asks for."""
        return " ".join(self.value(ask.quantity) for ask in self.scope.only(quantities))

    def calls_again(self, quantities: tuple[str, ...]) -> str:
        """Return the value of the first quantity once more."""
        return self.value(self.scope.only(quantities)[0].quantity)

    def checks_values(self) -> str:
        """Confirm them."""
        return self.answers("affirm")

    def names_rate(self) -> str:
        """Return the rate that the gate holds."""
        return self.plan.catalogue.rates[self.scope.rate or "maximum"][0]

    def names_state(self, thing: str, *, as_needed: bool) -> str:
        """Return the state that the gate needs the thing in, or the altered state."""
        return self.plan.gate(self.state.gate).gate.needs[thing] if as_needed else self.plan.things[thing].altered

    def puts_back(self, thing: str) -> str:
        """Return the restored state of the thing, or its setting as found."""
        known = self.plan.things[thing]
        if known.value is None:
            return known.restored
        if thing not in self.state.found:
            return self.value(known.value)
        return self.plan.called(self.state.found[thing])

    def turns(self) -> str:
        """Return the turn as it was asked for."""
        asked, words = self.state.question, self.plan.catalogue
        assert isinstance(asked, Turn)
        assert asked.direction is not None
        return f"{words.answers[asked.direction][0]} {words.turns[asked.eighths][0]}"

    def reads(self, quantity: str) -> str:
        """Return the value of a quantity that the gate itself does not ask for."""
        return self.value(quantity)

    def answers(self, name: str) -> str:
        """Return the first phrase of one of the language's own answers."""
        return self.plan.catalogue.answers[name][0]

    def gives_number(self) -> str:
        """Return the number of the first person who may answer, digit by digit."""
        job = self.plan.sheets.job
        return self.plan.numbers.digits(Decimal(next(one for one in job.numbered() if job.numbered()[one][1])))

    def talks(self) -> str:
        """Return some free talk."""
        return "a word about the work"

    def after_a_stop(self, ways: tuple[str, ...]) -> str:
        """Call the cause put right where that is open."""
        return self.answers("put-right" if "put-right" in ways else ways[-1])

    def steps_on(self, step: str) -> str:
        """Return the answer that leads on."""
        words, facts = self.plan.catalogue.steps[step], self.plan.catalogue.stops.steps[step]
        return words.answers[facts.on[0]][0]
