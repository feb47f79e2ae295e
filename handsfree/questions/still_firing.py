"""Whether the appliance still fires, asked after an interruption."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named
from handsfree.questions.shapes import Worded


class StillFiring(Worded):
    """A firing gate goes on only with what fires as it was."""

    kind: Literal["still-firing"] = "still-firing"
    rate: str | None = None
    """The rate at which it should still run; then that it has dropped back answers too."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="recheck", names_answers=True, counts_at_once=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (named(scope.catalogue, *self._answers),)

    @property
    def _answers(self) -> tuple[str, ...]:
        return ("firing", "off") if self.rate is None else ("firing", "dropped-back", "off")

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        words = scope.catalogue.answers
        return Keypad(offers=offered(words[name][0] for name in self._answers))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.answers("firing")
