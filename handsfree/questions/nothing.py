"""No question at all: before the first gate and after the close."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import rate_lost
from handsfree.questions.shapes import Worded


class Nothing(Worded):
    """Nothing is asked."""

    kind: Literal["nothing"] = "nothing"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(awaits="nothing", asks_again=False, escalates=False)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return rate_lost(scope)

    def keys(self, scope: Scope) -> Keypad:  # noqa: ARG002
        """Return what the keys give."""
        return Keypad()

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.answers("affirm")
