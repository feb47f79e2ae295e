"""One step after a stop, answered in the step's own words."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, answers
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.shapes import Worded


class StopStep(Worded):
    """The trade says which answers lead on, and the language how they are heard."""

    kind: Literal["stop-step"] = "stop-step"
    step: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", counts_at_once=True, taken_back=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (answers(scope.catalogue.steps[self.step].answers),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered(texts[0] for texts in scope.catalogue.steps[self.step].answers.values()))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.steps_on(self.step)
