"""The likeliest answer, offered for a yes or no."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule
from handsfree.questions.keypad import Keypad, yes_or_no
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import affirm


class AnswerCheck(Carried):
    """An answer was heard in doubt, so it is offered."""

    kind: Literal["answer-check"] = "answer-check"
    answer: str
    """Its name at the gate."""

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
        return yes_or_no(scope.catalogue)

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.answers("affirm")
