"""A value asked for because an instrument alone shows it beyond a stop limit, at a gate that does not want it."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import ValuesRule
from handsfree.questions.ask import Ask
from handsfree.questions.keypad import Keypad, numbers
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import slots


class InstrumentAsks(Carried):
    """The person looks at the display and calls the value; then the question before goes on."""

    kind: Literal["instrument-asks"] = "instrument-asks"
    quantity: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="witness", interrupts=True)

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return (self.quantity,)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (ValuesRule(slots((Ask(quantity=self.quantity),), scope)),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, (Ask(quantity=self.quantity),), scope.shows)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.reads(self.quantity)
