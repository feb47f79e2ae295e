"""A time that must pass, in which nothing is read: a flush, a stabilising, a cure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Literal

from pydantic import Field, model_validator

from handsfree.blocks import Prompt
from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.block import GateBlock
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets, own_or_not_done
from handsfree.gates.outcomes import DONE
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.meaning import Meaning
from handsfree.questions import Question
from handsfree.questions.kind import Scope
from handsfree.questions.waiting import Waiting

LONGEST_SECONDS = 86_400
LONGEST_FIRING_SECONDS = 900
"""Where something fires nobody is away for longer than the longest wait before readings."""


class WaitGate(GateBlock):
    """A time that must pass, in which nothing is read.

    Stop phrases, notes and the like are understood meanwhile. A wait that is broken off by an interruption of the
    program goes on where it stood: the time without the program does not count. One that is entered again begins
    anew.
    """

    kind: Literal["wait"]
    prompt: Prompt
    """What is said as it begins; the time is added to it."""
    seconds: int = Field(ge=1, le=LONGEST_SECONDS)
    """How long it takes, up to a day; at a firing gate at most 900."""

    @model_validator(mode="after")
    def _attended(self) -> WaitGate:
        if self.firing and self.seconds > LONGEST_FIRING_SECONDS:
            raise ValueError(f"seconds must be at most {LONGEST_FIRING_SECONDS} where something fires")
        return self

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers: only time passes it."""
        return {}

    @cached_property
    def effects(self) -> Effects:
        """It changes nothing."""
        return Effects(waits_seconds=self.seconds)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title and its prompt."""
        return {"title": self.title, "prompt": self.prompt}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return its one way on, and that of "not done"."""
        return own_or_not_done(self, to, {DONE: to.then(self)})

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the wait."""
        del scope
        return (Waiting(),)

    def returned_to(self, state: State) -> bool:
        """Return True: it waits whenever it is entered."""
        del state
        return True

    def open(self, visit: Visit) -> None:
        """Say what passes and how long, and be silent until then; once that is over, go on."""
        until = visit.state.entered_at + 1000 * self.seconds
        if until <= visit.at:
            self.time_up(visit)
            return
        visit.tell(visit.fill(self.prompt))
        visit.wait(until, visit.catalogue.wait_text(until - visit.at))

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Return False: nothing is asked."""
        del visit, meaning, utterance
        return False

    def time_up(self, visit: Visit) -> None:
        """Call the person, and go on."""
        visit.emit(ev.ToneSounded(name="attention"))
        visit.pass_gate(DONE)

    def silence(self, visit: Visit) -> None:
        """Go on waiting."""
        visit.ask_again()

    def drawing(self) -> Drawing:
        """Return how long it takes."""
        return Drawing(f"waits {self.seconds} s", ("([", "])"))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return that no words lead out of it."""
        del outcome, scope
        return f"(after {self.seconds} s)"

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield a shorter wait."""
        before = was.effects.waits_seconds
        if before is not None and self.seconds < before:
            yield f"waits {self.seconds} s in place of {before}"
