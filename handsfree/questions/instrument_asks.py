"""A value asked for because an instrument alone shows it beyond a stop limit, at a gate that does not want it."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.kind import Manner
from handsfree.questions.shapes import OneReading


class InstrumentAsks(OneReading):
    """The person looks at the display and calls the value; then the question before goes on."""

    kind: Literal["instrument-asks"] = "instrument-asks"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="witness", interrupts=True)
