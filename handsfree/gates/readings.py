"""Values called out in one breath: once, or in sets until they have settled; the rate they are taken at."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import cached_property
from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field, model_validator

from handsfree.blocks import Name, Prompt, Target, as_tuple
from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.block import GateBlock, Rate, Settle
from handsfree.gates.called_values import CalledValues
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets, own_or_not_done
from handsfree.gates.lost import no_longer
from handsfree.gates.outcomes import DONE, DROPPED_BACK, UNSETTLED
from handsfree.gates.value import numeric, spoken_value
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions import Question
from handsfree.questions import rate as rates
from handsfree.questions.ask import Ask
from handsfree.questions.grammar import grammar
from handsfree.questions.kind import Scope
from handsfree.questions.values import CallValues


class ReadingsGate(GateBlock):
    """Values called out in one breath, in the order asked; once, or in sets until settled."""

    photographed: ClassVar[bool] = True
    kind: Literal["readings"]
    prompt: Prompt
    """What is to be called, in the order of `ask`."""
    ask: Annotated[tuple[Ask, ...], BeforeValidator(as_tuple), Field(min_length=1, max_length=5)]
    """The quantities, in the order in which they are called."""
    point: Name
    """The measurement point, under whose name the values are kept: verdicts ask for them by it."""
    rate: Rate | None = None
    """The rate that is held; it is called with each set."""
    settle: Settle | None = None
    """With it the values are called in sets until they have stopped moving; else once."""
    unsettled: Target | None = None
    """Where it leads when the readings do not settle."""
    dropped_back: Target | None = None
    """The gate that holds the rate; what goes out and "dropped back" void the set and lead there."""
    captures: Name | None = None
    """The thing whose value as found is called here, before it is altered."""
    only_recorded: bool = False
    """Whether what no verdict judges here is for the record alone; else `check` remarks it."""

    @model_validator(mode="after")
    def _together(self) -> ReadingsGate:
        if (self.settle is None) != (self.unsettled is None):
            raise ValueError("settle and unsettled belong together: give both or neither")
        if (self.rate is None) != (self.dropped_back is None):
            raise ValueError("rate and dropped_back belong together: give both or neither")
        if self.captures and len(self.ask) != 1:
            raise ValueError("a gate that captures asks for one quantity")
        return self

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers of its own."""
        return {}

    @cached_property
    def effects(self) -> Effects:
        """It keeps readings, and may capture a setting."""
        return Effects(
            asks=self.ask,
            asked_at=tuple(("ask", number) for number in range(len(self.ask))),
            kept_at=self.point,
            rate=self.rate,
            settle=self.settle,
            captures=self.captures,
            only_recorded=self.only_recorded,
        )

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title and its prompt."""
        return {"title": self.title, "prompt": self.prompt, **self.photo_text}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return where it leads when done, unsettled, dropped back, and not done."""
        own = {DONE: to.then(self)}
        if self.unsettled is not None:
            own[UNSETTLED] = to.full(self.unsettled)
        if self.dropped_back is not None:
            own[DROPPED_BACK] = to.full(self.dropped_back)
        return own_or_not_done(self, to, own)

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the call, what may follow a called value, and the rate."""
        rate = (rates.CallRate(),) if self.rate else ()
        return (CallValues(), *self._values.questions(scope), *rate)

    def returned_to(self, state: State) -> bool:
        """Return True: it asks whenever it is entered."""
        del state
        return True

    @property
    def _values(self) -> CalledValues:
        """What is done with called values at this gate."""
        return CalledValues(self.ask, self.point, self.rate, capturing=self.captures is not None)

    def open(self, visit: Visit) -> None:
        """Wait where the gate asks for it, then ask for a set."""
        if self.settle is not None and not visit.state.readings(self.point):
            until = visit.state.last_change + 1000 * visit.settle_seconds(self.settle)
            if until > visit.at:
                visit.wait(until, visit.catalogue.wait_text(until - visit.at))
                return
        self._ask_set(visit)

    def _ask_set(self, visit: Visit) -> None:
        if self.rate is not None and visit.hold_ran_out():
            visit.lose_rate("the hold's time has run out")
            return
        text = visit.fill(self.prompt)
        if self.settle is not None:
            visit.emit(ev.ToneSounded(name="attention"))
            if visit.state.readings(self.point):
                text = visit.words("readings-now", names=visit.names(ask.quantity for ask in self.ask))
        visit.ask(CallValues(), text)

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Take values, corrections, confirmations and the rate."""
        if meaning == Answer("dropped-back") and self.dropped_back is not None:
            visit.lose_rate("the rate dropped back")
            return True
        if isinstance(visit.state.question, rates.CallRate) and isinstance(meaning, Answer):
            if meaning.name == self.rate:
                visit.emit(ev.RateCalled(rate=meaning.name))
                self._set_taken(visit)
            else:
                visit.lose_rate(f"the rate called was {meaning.name}")
            return True
        return self._values.hear(visit, meaning, utterance, self._accepted)

    def time_up(self, visit: Visit) -> None:
        """Ask for the next set."""
        self._ask_set(visit)

    def silence(self, visit: Visit) -> None:
        """Accept what silence may accept, and ask for the rest once more."""
        self._values.silence(visit, self._accepted)

    def _accepted(self, visit: Visit) -> None:
        if self.rate is not None and visit.state.rate_called != self.rate:
            visit.ask(rates.CallRate(), visit.words("rate-called"))
            return
        self._set_taken(visit)

    def _set_taken(self, visit: Visit) -> None:
        taken = visit.state.sets[self.point][-1]
        visit.emit(ev.SetTaken(at=visit.at, kept_at=self.point, number=taken.number))
        if self.settle is None:
            self._done(visit)
        elif not visit.stop_if_rising(self.point, self.settle):
            self._settled(visit, self.settle)

    def _settled(self, visit: Visit, settle: Settle) -> None:
        """Leave the gate when every quantity has settled, or after the most sets; else ask for another set."""
        sets = visit.state.readings(self.point)
        if len(sets) < settle.sets:
            self._again(visit, settle)
            return
        judged = visit.judge_sets(self.point, settle)
        for judgement in judged:
            visit.emit(judgement.event)
        moving = [judgement for judgement in judged if not judgement.event.settled]
        too_few = set(numeric(sets[-1].values)) - {judgement.event.quantity for judgement in judged}
        if not moving and not too_few:
            for judgement in judged:
                visit.emit(judgement.settled)
            self._done(visit)
        elif len(sets) >= settle.most_sets:
            visit.say("unsettled-end", sets=str(len(sets)))
            visit.pass_gate(UNSETTLED)
        else:
            if moving:
                first = moving[0].event
                direction = "falling" if first.slope.startswith("-") else "rising"
                visit.say("not-settled", what=visit.name(first.quantity), direction=visit.words(direction))
            self._again(visit, settle)

    def _again(self, visit: Visit, settle: Settle) -> None:
        seconds = settle.interval_seconds
        visit.wait(visit.at + 1000 * seconds, visit.words("again-in", seconds=str(seconds)))

    def _done(self, visit: Visit) -> None:
        if self.captures is not None:
            self._captured(visit, self.captures, visit.state.sets[self.point][-1].values[self.ask[0].quantity])
        visit.tell_last_time()
        visit.pass_gate(DONE)

    def _captured(self, visit: Visit, thing: str, reading: ev.ReadingRecord) -> None:
        """Keep a setting as found; later readings never overwrite it."""
        if visit.state.as_found_open(thing):
            visit.emit(ev.FoundValue(thing=thing, reading=reading))
            return
        found = visit.state.found.get(thing)
        if found is None:
            visit.say("not-as-found")
        elif Decimal(found.value) != Decimal(reading.value):
            visit.say("as-found-stays", value=spoken_value(visit, found))

    def drawing(self) -> Drawing:
        """Return a parallelogram with the quantities."""
        return Drawing(", ".join(ask.quantity for ask in self.ask), ("[/", "/]"))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return values as they would be called."""
        del outcome
        return f'"{grammar(CallValues(), scope).examples()[0]}"'

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield the proof of settling, the setting as found and the quantities that it no longer takes."""
        before = was.effects
        if before.captures != self.captures:
            yield f"no longer keeps {before.captures} as found"
        if before.settle is not None and self.settle is None:
            yield "no longer waits until readings have settled"
        elif before.settle is not None and self.settle is not None:
            for name in ("wait_seconds", "sets", "interval_seconds"):
                if getattr(self.settle, name) < getattr(before.settle, name):
                    yield f"proves less of settling: {name}"
        if before.rate != self.rate:
            yield "is read at another rate"
        yield from no_longer("asks for", (ask.quantity for ask in before.asks), (ask.quantity for ask in self.ask))
