"""Something to do, and the word for having done it."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import done
from handsfree.questions.shapes import Worded


class ToDo(Worded):
    """The gate asks for some work; one of the gate's own words says that it is done."""

    kind: Literal["to-do"] = "to-do"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(works=True, names_answers=True, guesses=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return done(scope)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        words = next(iter(scope.answers.values()), ("",))
        return Keypad(plain=words[0])

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.does()
