"""What the kinds of gate share that ask nothing and decide at once."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from handsfree.gates.block import GateBlock
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.meaning import Meaning
from handsfree.questions import Question
from handsfree.questions.kind import Scope


class UnaskedGate(GateBlock):
    """It asks nothing, so it has no answers and takes none."""

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers of its own."""
        return {}

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return none."""
        del scope
        return ()

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Take no answer."""
        del visit, meaning, utterance
        return False

    def silence(self, visit: Visit) -> None:
        """Ask again whatever is open: after a stop, how the visit goes on."""
        visit.ask_again()
