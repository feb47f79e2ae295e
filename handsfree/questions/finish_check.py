"""The read-back of the finish."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule
from handsfree.questions.keypad import Keypad, yes_or_no
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import affirm


class FinishCheck(Carried):
    """Everything is restored; the visit ends with a yes."""

    kind: Literal["finish-check"] = "finish-check"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(counts_at_once=True)

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return ()

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (affirm(scope.catalogue),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return yes_or_no(scope.catalogue, patient=True)

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.answers("affirm")
