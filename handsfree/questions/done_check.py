"""The read-back of work that puts things back."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner
from handsfree.questions.shapes import YesOrNo


class DoneCheck(YesOrNo):
    """The gate's restored things are said back before they count."""

    kind: Literal["done-check"] = "done-check"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(counts_at_once=True)
