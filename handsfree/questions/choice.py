"""One of a few answers."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, answers
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.shapes import Worded


class Choice(Worded):
    """The gate asks, and its answers each lead somewhere."""

    kind: Literal["choice"] = "choice"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(works=True, names_answers=True, guesses=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        own, said = answers(scope.answers), scope.catalogue.answers
        return (own, answers({"affirm": (*said["affirm"], *said["yes"])})) if scope.matches else (own,)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered(texts[0] for texts in scope.answers.values()))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.chooses()
