"""One step after a stop, answered by a value."""

from __future__ import annotations

from typing import Literal

from handsfree.questions.ask import Ask
from handsfree.questions.kind import Manner, Scope
from handsfree.questions.shapes import OneReading


class StopReading(OneReading):
    """The value decides whether the step is passed; it is read off a display now, not remembered."""

    kind: Literal["stop-reading"] = "stop-reading"
    step: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", counts_at_once=True, taken_back=True)

    def ask(self, scope: Scope) -> Ask:
        """Return how its gate asks for the quantity; as it is shown anywhere where the gate does not."""
        return next((ask for ask in scope.asks if ask.quantity == self.quantity), super().ask(scope))
