"""The read-back of a hazard that the person calls cleared."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner
from handsfree.questions.shapes import YesOrNo


class ClearedCheck(YesOrNo):
    """The reason is kept as sound or as typed words; a yes lets the visit go on."""

    kind: Literal["cleared-check"] = "cleared-check"
    reason: str = ""
    """The typed words."""
    sound: str | None = None
    """SHA-256 of the spoken words."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", counts_at_once=True)
