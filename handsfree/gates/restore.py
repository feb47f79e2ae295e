"""Putting things back: each that is still altered is asked for, one by one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import ClassVar, Literal

from handsfree.blocks import Names
from handsfree.events.state import State
from handsfree.gates.block import GateBlock
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets
from handsfree.gates.outcomes import DONE
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.meaning import Meaning
from handsfree.questions import Question
from handsfree.questions.kind import Scope
from handsfree.questions.put_back import PutBack
from handsfree.questions.thing_check import ThingCheck


class RestoreGate(GateBlock):
    """Asks for each thing that is still altered, one by one, until it is put back."""

    usual_work_seconds: ClassVar[int] = 60
    kind: Literal["restore"]
    things: Names
    """The things in the order they are asked for. Only what is still altered is asked for, so the list may hold
    more than any way leaves altered here: the order is the author's, and it holds on when a part changes."""

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers of its own."""
        return {}

    @cached_property
    def effects(self) -> Effects:
        """It puts its things back, a setting by its value."""
        return Effects(restores=self.things, proves_settings=True, refusable=False)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title."""
        return {"title": self.title}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return its one way on."""
        return {DONE: to.then(self)}

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the question for each of its things, and its read-back."""
        del scope
        return tuple(question for name in self.things for question in putting_back(name))

    def returned_to(self, state: State) -> bool:
        """Return whether anything of it is still altered."""
        return any(thing in state.altered for thing in self.things)

    def open(self, visit: Visit) -> None:
        """Ask for the next thing, or pass when none is left."""
        if not visit.ask_to_put_back(thing for thing in self.things if thing in visit.state.altered):
            visit.pass_gate(DONE)

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Take no answer: whoever puts things back takes them."""
        del visit, meaning, utterance
        return False

    def time_up(self, visit: Visit) -> None:
        """Ask for the next thing."""
        self.open(visit)

    def silence(self, visit: Visit) -> None:
        """Ask again: silence puts nothing back."""
        visit.ask_again()

    def drawing(self) -> Drawing:
        """Return how many things it puts back."""
        return Drawing(f"restores {len(self.things)}")

    def told(self, outcome: str, scope: Scope) -> str:
        """Return the restored state of each thing."""
        del outcome
        things = (scope.things[name] for name in self.things)
        return f"({', '.join(f'{thing.said} {thing.restored}' for thing in things)})"

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield nothing: what it shows is told by its transitions."""
        del was
        yield from ()


def putting_back(thing: str) -> tuple[Question, ...]:
    """Return the questions that put a thing back."""
    return (PutBack(thing=thing), ThingCheck(thing=thing))
