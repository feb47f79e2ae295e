"""A time taken by voice: the volume first, then two marks timed at the onset of the word."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cached_property
from typing import Literal

from pydantic import Field

from handsfree.blocks import Name, Prompt
from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.block import GateBlock
from handsfree.gates.called_values import CalledValues
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets, own_or_not_done
from handsfree.gates.outcomes import DONE
from handsfree.gates.value import spoken_value
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions import Question
from handsfree.questions.ask import Ask
from handsfree.questions.grammar import grammar
from handsfree.questions.kind import Scope
from handsfree.questions.mark import Mark
from handsfree.questions.values import CallValues

TENTH = Decimal("0.1")


class TimedGate(GateBlock):
    """A time taken by voice: "mark" at the pointer, "mark" again after a called volume."""

    kind: Literal["timed"]
    prompt: Prompt
    """What is to be timed."""
    volume: Ask
    """The volume the meter shows between the marks, called first."""
    point: Name
    """The measurement point, under whose name volume and time are kept."""
    least_seconds: int = Field(default=20, ge=5)
    """A shorter time is too coarse to use and is taken again."""

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers of its own."""
        return {}

    @cached_property
    def effects(self) -> Effects:
        """It keeps a volume and the time it took."""
        return Effects(asks=(self.volume,), asked_at=(("volume",),), measures=("meter_time",), kept_at=self.point)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title and its prompt."""
        return {"title": self.title, "prompt": self.prompt}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return its one way on, and that of "not done"."""
        return own_or_not_done(self, to, {DONE: to.then(self)})

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the call of the volume, what may follow it, and the marks."""
        return (CallValues(), *self._values.questions(scope), Mark(which="first"), Mark(which="last"))

    def returned_to(self, state: State) -> bool:
        """Return True: it asks whenever it is entered."""
        del state
        return True

    @property
    def _values(self) -> CalledValues:
        """What is done with the called volume."""
        return CalledValues((self.volume,), self.point, timed=True)

    def open(self, visit: Visit) -> None:
        """Ask for the volume."""
        visit.ask(CallValues(), visit.fill(self.prompt))

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Take the volume, then each mark."""
        question = visit.state.question
        if isinstance(question, Mark) and meaning == Answer("mark"):
            self._marked(visit, utterance, question)
            return True
        return self._values.hear(visit, meaning, utterance, self._first_mark)

    def time_up(self, visit: Visit) -> None:
        """Ask for the volume."""
        self.open(visit)

    def silence(self, visit: Visit) -> None:
        """Ask for the volume once more: silence never accepts it."""
        self._values.silence(visit, self._first_mark)

    def _first_mark(self, visit: Visit) -> None:
        visit.ask(Mark(which="first"), visit.words("mark-first"))

    def _marked(self, visit: Visit, utterance: Understanding, question: Mark) -> None:
        """Take a mark; one that may be other speech begins the timing anew, since its time is worth nothing."""
        if utterance.doubt and not utterance.slight:
            self._first_mark(visit)
            return
        visit.emit(ev.Marked(onset=utterance.onset))
        if question.which == "first":
            volume = visit.state.sets[self.point][-1].values[self.volume.quantity]
            text = visit.words("mark-last", volume=spoken_value(visit, volume))
            visit.ask(Mark(which="last"), text)
            return
        first, last = visit.state.marks[-2:]
        seconds = (Decimal(last - first) / 1000).quantize(TENTH, ROUND_HALF_EVEN)
        reading = ev.ReadingRecord(quantity="meter_time", value=f"{seconds:f}", unit="s", resolution="0.1")
        if seconds < self.least_seconds:
            visit.emit(ev.ReadingRefused(reading=reading, why=f"shorter than {self.least_seconds} s"))
            self._first_mark(visit)
            return
        number, gate = visit.state.sets[self.point][-1].number, visit.state.gate
        visit.emit(
            ev.ReadingAccepted(
                at=visit.at, gate=gate, kept_at=self.point, number=number, reading=reading, how="timed"
            )
        )
        visit.emit(ev.SetTaken(at=visit.at, kept_at=self.point, number=number))
        visit.say("marked", seconds=visit.catalogue.numbers.digits(seconds))
        visit.pass_gate(DONE)

    def drawing(self) -> Drawing:
        """Return a plain box."""
        return Drawing()

    def told(self, outcome: str, scope: Scope) -> str:
        """Return a volume as it would be called."""
        del outcome
        return f'"{grammar(CallValues(), scope).examples()[0]}"'

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield a coarser time."""
        if isinstance(was, TimedGate) and self.least_seconds < was.least_seconds:
            yield "takes a coarser time"
