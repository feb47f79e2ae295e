"""A stop written into a procedure: the script is spoken and the visit stops; things may stay altered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Literal

from handsfree.blocks import Name, Prompt
from handsfree.events.state import State
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets
from handsfree.gates.unasked import UnaskedGate
from handsfree.gates.visit import Visit
from handsfree.questions.kind import Scope


class StopGate(UnaskedGate):
    """Make-safe reached from a gate: the script is spoken and the visit stops; things may stay altered."""

    kind: Literal["stop"]
    script: Prompt
    """The order: first what to do."""
    hazard: Name | None = None
    """The stop of the trade that it is, whose steps then lead back in; a fault when left out."""

    @cached_property
    def effects(self) -> Effects:
        """It stops the visit."""
        return Effects(end="stop", refusable=False)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title and its script."""
        return {"title": self.title, "script": self.script}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return none."""
        del to
        return {}

    def returned_to(self, state: State) -> bool:
        """Return True: nothing passes it."""
        del state
        return True

    def open(self, visit: Visit) -> None:
        """Stop with its script."""
        source = self.source or "common practice, no source"
        visit.stop("gate", self.title, visit.fill(self.script), source, by="gate", hazard=self.hazard)

    def time_up(self, visit: Visit) -> None:
        """Stop again."""
        self.open(visit)

    def drawing(self) -> Drawing:
        """Return a rounded box."""
        return Drawing(brackets=("([", "])"))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return the outcome: nothing leads out of it."""
        del scope
        return f"({outcome})"

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield that its script has changed."""
        if was.texts.get("script") != self.script:
            yield "says something else"
