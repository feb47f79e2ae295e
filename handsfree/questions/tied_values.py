"""Values that are tied to each other and did not fit."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule, ValuesRule
from handsfree.questions.keypad import Keypad, numbers
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import rate_lost, slots


class TiedValues(Carried):
    """Two values cannot both be true, so both are called again."""

    kind: Literal["tied-values"] = "tied-values"
    quantities: tuple[str, ...]

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner()

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return self.quantities

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (ValuesRule(slots(scope.only(self.quantities), scope.catalogue)), *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, scope.only(self.quantities))

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.calls(self.quantities)
