"""One value digit by digit."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import DigitsRule, Rule
from handsfree.questions.keypad import Keypad, numbers
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import rate_lost, slot


class Digits(Carried):
    """A value whose words have twins that sound alike is called digit by digit."""

    kind: Literal["digits"] = "digits"
    quantity: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(second_call=True, spells=True)

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return (self.quantity,)

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        rows = (DigitsRule(slot(ask, scope.catalogue)) for ask in scope.only((self.quantity,)))
        return (*rows, *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, scope.only((self.quantity,)))

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.calls_again((self.quantity,))
