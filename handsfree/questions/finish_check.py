"""The read-back of the finish."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner
from handsfree.questions.shapes import YesOrNo


class FinishCheck(YesOrNo):
    """Everything is restored; the visit ends with a yes."""

    kind: Literal["finish-check"] = "finish-check"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(counts_at_once=True)
