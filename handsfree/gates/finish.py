"""The end of a visit: everything is restored, and it is read back before it counts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Literal

from handsfree.events.state import State
from handsfree.gates.block import GateBlock
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets
from handsfree.gates.outcomes import DONE, FINISHED
from handsfree.gates.restore import putting_back
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions import Question
from handsfree.questions.finish_check import FinishCheck
from handsfree.questions.kind import Scope


class FinishGate(GateBlock):
    """The end: everything must be restored; it is read back before it counts."""

    kind: Literal["finish"]

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers of its own."""
        return {}

    @cached_property
    def effects(self) -> Effects:
        """It ends the visit."""
        return Effects(end="finish", refusable=False)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title."""
        return {"title": self.title}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return the end of the visit."""
        del to
        return {DONE: FINISHED}

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the questions for whatever is still altered, and the read-back of the finish."""
        asked = tuple(question for name in scope.things for question in putting_back(name))
        return (*asked, FinishCheck())

    def returned_to(self, state: State) -> bool:
        """Return True: it asks whenever it is entered."""
        del state
        return True

    def open(self, visit: Visit) -> None:
        """Ask for what is still altered, else for the confirmation of the finish."""
        if not visit.ask_to_put_back(visit.state.altered):
            lacking = ", ".join(one.what for one in visit.lacking())
            text = visit.words("incomplete-check", what=lacking) if lacking else visit.words("finish-check")
            visit.ask(FinishCheck(), text)

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Finish when it is confirmed."""
        del utterance
        if visit.state.question != FinishCheck() or not isinstance(meaning, Answer):
            return False
        if meaning.name == "affirm":
            visit.pass_gate(DONE)
        else:
            visit.ask_again()
        return True

    def time_up(self, visit: Visit) -> None:
        """Ask for what is left."""
        self.open(visit)

    def silence(self, visit: Visit) -> None:
        """Ask again: silence finishes nothing."""
        visit.ask_again()

    def drawing(self) -> Drawing:
        """Return a plain box."""
        return Drawing()

    def told(self, outcome: str, scope: Scope) -> str:
        """Return the confirmation."""
        del outcome
        return f'"{scope.catalogue.answers["affirm"][0]}"'

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield nothing: what it shows is told by its transitions."""
        del was
        yield from ()
