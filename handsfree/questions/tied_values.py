"""Values that are tied to each other and did not fit."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, numbers
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import rate_lost, values_anew, values_missing


class TiedValues(Carried):
    """Values cannot all be true, so they are called again: alone, or with all others of the gate."""

    kind: Literal["tied-values"] = "tied-values"
    quantities: tuple[str, ...]

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner()

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return self.quantities

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (values_missing(scope, self.quantities), values_anew(scope), *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, scope.only(self.quantities), scope.shows)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.calls(self.quantities)
