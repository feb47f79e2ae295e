"""Which of two quantities was meant whose names sound alike."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import ValuesRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import affirm, rate_lost, slots
from handsfree.questions.shapes import Worded


class AlikeQuantities(Worded):
    """One utterance could call either of two quantities; the tool asks whether it was the first."""

    kind: Literal["alike-quantities"] = "alike-quantities"
    quantity: str
    """A yes means this one."""
    other: str
    """A no means this one."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner()

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        row = slots(scope.only((self.quantity, self.other)), scope)
        return (affirm(scope.catalogue), ValuesRule(row), *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        words = scope.catalogue.answers
        return Keypad(offers=offered(words[name][0] for name in ("affirm", "deny")))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.answers("affirm")
