"""One step after a stop, answered by a value."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import ValuesRule
from handsfree.questions.ask import Ask
from handsfree.questions.keypad import Keypad, numbers
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import slots


class StopReading(Carried):
    """The value decides whether the step is passed; it is read off a display now, not remembered."""

    kind: Literal["stop-reading"] = "stop-reading"
    step: str
    quantity: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", counts_at_once=True, taken_back=True)

    def _ask(self, scope: Scope) -> Ask:
        """Return how its gate asks for the quantity; as it is shown anywhere where the gate does not."""
        return next((ask for ask in scope.asks if ask.quantity == self.quantity), Ask(quantity=self.quantity))

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return (self.quantity,)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (ValuesRule(slots((self._ask(scope),), scope)),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, (self._ask(scope),), scope.shows)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.reads(self.quantity)
