"""The read-back of closing a stopped visit."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner
from handsfree.questions.shapes import YesOrNo


class CloseCheck(YesOrNo):
    """A yes closes the record; what is altered stays altered, and is told."""

    kind: Literal["close-check"] = "close-check"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", counts_at_once=True, taken_back=True)
