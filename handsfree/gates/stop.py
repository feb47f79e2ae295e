"""A stop written into a procedure: the script is spoken and the visit stops; things may stay altered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from handsfree.blocks import Prompt
from handsfree.events.state import State
from handsfree.gates.block import GateBlock
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets
from handsfree.gates.visit import Utterance, Visit
from handsfree.lexicon.meaning import Meaning
from handsfree.questions import Question
from handsfree.questions.kind import Scope


class StopGate(GateBlock):
    """Make-safe reached from a gate: the script is spoken and the visit stops; things may stay altered."""

    kind: Literal["stop"]
    script: Prompt

    @property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers of its own."""
        return {}

    @property
    def effects(self) -> Effects:
        """It stops the visit."""
        return Effects(end="stop", refusable=False)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title and its script."""
        return {"title": self.title, "script": self.script}

    def ways(self, to: Targets) -> dict[str, str]:
        """Return none."""
        del to
        return {}

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return none."""
        del scope
        return ()

    def returned_to(self, state: State) -> bool:
        """Return True: nothing passes it."""
        del state
        return True

    def open(self, visit: Visit) -> None:
        """Stop with its script."""
        visit.stop("gate", self.title, visit.fill(self.script), self.source or "common practice, no source")

    def hear(self, visit: Visit, meaning: Meaning, utterance: Utterance) -> bool:
        """Take no answer: it asks nothing."""
        del visit, meaning, utterance
        return False

    def time_up(self, visit: Visit) -> None:
        """Stop again."""
        self.open(visit)

    def silence(self, visit: Visit) -> None:
        """Ask again how the visit goes on."""
        visit.ask_again()

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
