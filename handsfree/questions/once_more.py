"""One value called a second time."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule, ValuesRule
from handsfree.questions.keypad import Keypad, numbers
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import rate_lost, slots


class OnceMore(Carried):
    """A value is in doubt, so it is called again without being shown."""

    kind: Literal["once-more"] = "once-more"
    quantity: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(second_call=True)

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return (self.quantity,)

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (ValuesRule(slots(scope.only((self.quantity,)), scope.catalogue)), *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, scope.only((self.quantity,)))

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.calls_again((self.quantity,))
