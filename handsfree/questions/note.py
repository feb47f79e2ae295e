"""A note, kept as it was spoken or typed."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, TalkRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.shapes import Worded


class Note(Worded):
    """Free talk that nothing is understood of."""

    kind: Literal["note"] = "note"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="note", asks_again=False, interrupts=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (TalkRule("talk", scope.catalogue.sayings["speak-freely"]),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered((scope.catalogue.show("no-note"),)))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.talks()
