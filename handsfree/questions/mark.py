"""A mark called at the pointer of a meter."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad
from handsfree.questions.kind import LONGEST_MARK_MS, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named
from handsfree.questions.shapes import Worded


class Mark(Worded):
    """Timed at the onset of the word: the first begins the timing, the last ends it."""

    kind: Literal["mark"] = "mark"
    which: Literal["first", "last"]

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner() if self.which == "first" else Manner(asks_again=False, patience_ms=LONGEST_MARK_MS)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (named(scope.catalogue, "mark"),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(plain=scope.catalogue.answers["mark"][0], at_once=True)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.answers("mark")
