"""Values to be called out in one breath."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import ValuesRule
from handsfree.questions.keypad import Keypad, numbers
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import held_rates, rate_lost, slots

READING_MS = 30_000
"""Who reads several values off an instrument, or waits until it stands still, is not to be spoken to meanwhile."""


class CallValues(Carried):
    """The gate asks for all its values, with the rate where it holds one."""

    kind: Literal["values"] = "values"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(works=True, guesses=True, silence_ms=READING_MS)

    def called(self, scope: Scope) -> tuple[str, ...]:
        """Return the quantities whose values answer it."""
        return tuple(ask.quantity for ask in scope.asks)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (ValuesRule(slots(scope.asks, scope), held_rates(scope)), *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, scope.asks, scope.shows)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.calls(())
