"""A thing that may be put back when the work is left off: its state, as reported."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named, states
from handsfree.questions.shapes import Worded


class StopThing(Worded):
    """One of its two states; that nobody touched it; or that nobody knows."""

    kind: Literal["stop-thing"] = "stop-thing"
    step: str
    thing: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", counts_at_once=True, taken_back=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (states(scope.things[self.thing]), named(scope.catalogue, "not-touched", "unknown"))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        thing, words = scope.things[self.thing], scope.catalogue.answers
        return Keypad(
            offers=offered((thing.restored, thing.altered, words["not-touched"][0], words["unknown"][0]))
        )

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.names_state(self.thing, as_needed=False)
