"""A value called at once after a turn that was not as advised."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner
from handsfree.questions.shapes import OneReading


class TurnWatch(OneReading):
    """The quantity that shows first that a turn was a danger is called before anything else is done."""

    kind: Literal["turn-watch"] = "turn-watch"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="turning")
