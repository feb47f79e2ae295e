"""The read-back of a thing that was put back."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner
from handsfree.questions.shapes import YesOrNo


class ThingCheck(YesOrNo):
    """One word alone restores nothing, since it could be a stray one: the state or the setting is said back."""

    kind: Literal["thing-check"] = "thing-check"
    thing: str
    value: str | None = None
    """Its setting as called, an exact decimal; None for a thing without one."""
    unit: str = ""
    """The UCUM unit it was called in, where that is another than the setting's own."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="putting-back", counts_at_once=True)
