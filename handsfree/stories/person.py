"""Who goes along in a story: does what is asked, calls what the instruments show, chooses as the story says."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.gates.outcomes import ENDS
from handsfree.problem import Problem
from handsfree.session.playing import AgreeingPlayer


@dataclass
class GoingAlong(AgreeingPlayer):
    """Agrees to everything."""

    shows: Mapping[str, Decimal] = field(default_factory=dict)
    chosen: Mapping[str, str] = field(default_factory=dict)

    undone: Collection[str] = ()

    def words(self) -> str:
        """Return what is said to the question at hand: that it is not done, where the story leaves it so."""
        question = self.state.question
        if question.manner.asker == "gate" and self.state.gate in self.undone:
            return f"{self.plan.catalogue.everywhere['not-done'][0]} there is no time"
        return question.played(self)

    def value(self, quantity: str) -> str:
        """Return what the instrument shows, with as many digits as it has."""
        known = self.plan.catalogue.quantities.get(quantity)
        if known is None:
            raise Problem(f"the visit asks for {quantity}, which no instrument shows")
        asked = next((ask.decimals for ask in self.scope.asks if ask.quantity == quantity), None)
        usual = self.plan.procedure.trade.quantities[quantity].usual
        decimals = known.decimals if asked is None else asked
        value = self.shows.get(quantity, usual).quantize(Decimal(1).scaleb(-decimals))
        return self.plan.numbers.digits(self.plan.displayed(quantity, value))

    def calls(self, quantities: tuple[str, ...]) -> str:
        """Return the values, and the rate where the gate holds one."""
        called = super().calls(quantities)
        return f"{called} {self.names_rate()}" if self.scope.rate and not quantities else called

    def calls_again(self, quantities: tuple[str, ...]) -> str:
        """Return the value that was called before, if it was."""
        quantity = self.scope.only(quantities)[0].quantity
        pending = self.state.pending.values.get(quantity)
        if pending is None or pending.value[:1].isalpha():
            return self.value(quantity)
        return self.plan.called(pending)

    def chooses(self) -> str:
        """Return the answer that the story says, or the first that does not stop the visit."""
        placed = self.plan.gate(self.state.gate)
        phrases = placed.gate.phrases
        name = self.chosen.get(placed.id)
        if name is not None and name not in phrases:
            raise Problem(f"{placed.id} has no answer {name!r}", remedy=f"write one of: {', '.join(phrases)}")
        on = [one for one in phrases if not self._stops(placed.transitions[one])]
        return phrases[name or (on or list(phrases))[0]][0]

    def _stops(self, to: str) -> bool:
        return to not in ENDS and self.plan.gate(to).gate.effects.end == "stop"
