"""Everybody was told to leave: nothing is asked until "outside"."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named
from handsfree.questions.shapes import Worded


class Outside(Worded):
    """The order was spoken; whatever else is said, it is spoken again."""

    kind: Literal["outside"] = "outside"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", asks_again=False, counts_at_once=True, headline="script")

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (named(scope.catalogue, "outside"),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered(scope.catalogue.answers["outside"][:1]))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.answers("outside")
