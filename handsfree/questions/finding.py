"""A few words on what was found, kept as they were spoken or typed."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule, TalkRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, Player, Scope
from handsfree.questions.shapes import Worded


class Finding(Worded):
    """An answer was chosen that wants a few words; they go on the paper."""

    kind: Literal["finding"] = "finding"
    answer: str
    """Its name at the gate."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner()

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (TalkRule("talk", scope.catalogue.sayings["speak-freely"]),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered((scope.catalogue.show("no-note"),)))

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.talks()
