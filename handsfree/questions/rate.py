"""The rate at which the appliance runs."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, answers
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named
from handsfree.questions.shapes import Worded


class CallRate(Worded):
    """Values count for the rate that is called with them; after an interruption it is called again."""

    kind: Literal["rate"] = "rate"
    recheck: bool = False
    """It is asked after an interruption."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="recheck" if self.recheck else "gate", counts_at_once=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (answers(scope.catalogue.rates), named(scope.catalogue, "dropped-back"))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered(texts[0] for texts in scope.catalogue.rates.values()))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.names_rate()
