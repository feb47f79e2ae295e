"""The state of a thing that the gate needs in another."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner, PlayedTechnician
from handsfree.questions.shapes import StateOfThing


class ThingFirst(StateOfThing):
    """A gate needs the thing in some state before it opens."""

    kind: Literal["thing-first"] = "thing-first"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="need", works=True, names_answers=True, counts_at_once=True)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.names_state(self.thing, as_needed=True)
