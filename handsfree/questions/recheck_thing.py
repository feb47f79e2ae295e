"""The state of a thing, asked after an interruption."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner, PlayedTechnician
from handsfree.questions.shapes import StateOfThing


class RecheckThing(StateOfThing):
    """Every altered thing is asked for before the visit goes on."""

    kind: Literal["recheck-thing"] = "recheck-thing"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="recheck", names_answers=True, counts_at_once=True)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.names_state(self.thing, as_needed=False)
