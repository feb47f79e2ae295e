"""The entry of a part that is gone through only when something holds; the language puts it before the part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Literal

from handsfree.events.state import State
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets
from handsfree.gates.outcomes import DONE
from handsfree.gates.unasked import UnaskedGate
from handsfree.gates.visit import Visit
from handsfree.questions.kind import Scope


class EntryGate(UnaskedGate):
    """The entry of a part: its conditions decide whether the part is gone through; nothing is asked."""

    kind: Literal["entry"]

    @cached_property
    def effects(self) -> Effects:
        """It changes nothing."""
        return Effects(refusable=False)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title."""
        return {"title": self.title}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return its way past what follows it; who puts the part in says where that begins."""
        return {DONE: to.then(self)}

    def returned_to(self, state: State) -> bool:
        """Return False: it asks nothing."""
        del state
        return False

    def open(self, visit: Visit) -> None:
        """Lead into the part: its conditions hold, or it would not be opened."""
        visit.pass_gate(DONE)

    def time_up(self, visit: Visit) -> None:
        """Lead into the part."""
        self.open(visit)

    def drawing(self) -> Drawing:
        """Return a hexagon with what decides."""
        return Drawing(f"when {', '.join(self.when)}", ("{{", "}}"))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return that the part is gone into."""
        del outcome, scope
        return "(gone into)"

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield nothing: what it shows is told by its conditions."""
        del was
        yield from ()
