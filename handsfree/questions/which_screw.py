"""Which of two adjusters was turned."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, answers
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named
from handsfree.questions.shapes import Worded


class WhichScrew(Worded):
    """Two adjusters are near: the one that was turned is named by its rate, or as the other one."""

    kind: Literal["which-screw"] = "which-screw"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="turning", counts_at_once=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (answers(scope.catalogue.rates), named(scope.catalogue, "other-screw"))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        rates = (texts[0] for texts in scope.catalogue.rates.values())
        return Keypad(offers=offered((*rates, scope.catalogue.answers["other-screw"][0])))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.names_rate()
