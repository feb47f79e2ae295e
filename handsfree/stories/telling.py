"""One story told: its steps through the machine, each held against what is expected of it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from handsfree.documents import Place
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event
from handsfree.gates.outcomes import STOPPED
from handsfree.questions.mark import Mark
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import SPEAKING_MS, Rehearsal
from handsfree.session.silence import deadline
from handsfree.stories.file import Expected, Story, StoryStep
from handsfree.stories.person import GoingAlong

MOST_ANSWERS = 2_000
"""Answers that one `go` gives; a visit that takes more leads round for ever."""

OF_A_GATE = frozenset({"gate", "putting-back", "turning"})
"""Who asks what a gate itself asks: `go` stops there, and not at what is asked beside it."""

WORD_MS = 200
"""How long a word is taken to last."""

METER_TIME = "meter_time"
"""What a story says that the meter takes, in seconds, under `shows`."""

MARKED_AFTER_S = 65
"""How long whoever goes along lets a meter run: longer than the shortest time that a gate asks for by default."""


class StoryFault(Exception):  # noqa: N818 - a fault of the procedure or of its story, not of the program
    """What is not as the story has it, and at which step."""

    def __init__(self, what: str, place: Place) -> None:
        super().__init__(what)
        self.what, self.place = what, place


@dataclass
class Telling:
    """A story on its way through a plan; `place` tells where a key of the story stands."""

    plan: Plan
    story: Story
    day: date
    place: Callable[..., Place]
    visit: Rehearsal = field(init=False)
    shows: Mapping[str, Decimal] = field(init=False)
    chosen: Mapping[str, str] = field(init=False)
    undone: Collection[str] = field(init=False)

    def __post_init__(self) -> None:
        self.visit = Rehearsal(self.plan, self.day)
        self.shows, self.chosen, self.undone = self.story.shows, self.story.chooses, self.story.undone

    def tell(self) -> Rehearsal:
        """Tell the whole story; StoryFault at the first thing that is not as it says."""
        for number, step in enumerate(self.story.steps):
            self._step(step, number)
        self.visit.until_asking()
        self._end()
        return self.visit

    def _step(self, step: StoryStep, number: int) -> None:
        place = self.place("steps", number)
        self.shows, self.chosen = {**self.shows, **step.shows}, {**self.chosen, **step.chooses}
        self.undone = self.undone if step.undone is None else step.undone
        since = len(self.visit.events) if number else 0
        words = step.say if step.say is not None else step.key
        if words is not None:
            self._answer(words, place, typed=step.say is None, after=step.after)
        elif step.wait is not None:
            self._wait(1000 * step.wait)
        elif step.go is not None:
            self._go(step.go, place)
        self._understood(since, place, wanted=step.understood or words is None, words=words)
        if step.expect is not None:
            if step.wait is None:
                self.visit.until_asking()
            for key, what in self._unlike(step.expect, since):
                raise StoryFault(what, self.place("steps", number, "expect", key))

    def _answer(self, words: str, place: Place, *, typed: bool, after: int | None) -> None:
        if after is None:
            self.visit.until_asking()
        else:
            self._wait(max(0, 1000 * after - SPEAKING_MS))
        if self.visit.over:
            raise StoryFault(f'the visit is over before "{words}"', place)
        if typed:
            self.visit.say(words)
        else:
            self.visit.take(self._heard(words))

    def _heard(self, words: str) -> inp.Heard:
        """Return words as they are heard when nothing speaks against them."""
        spoken = words.split()
        ended = self.visit.state.now + SPEAKING_MS
        started = ended - WORD_MS * len(spoken)
        heard = tuple(
            inp.HeardWord(
                word=word, start_ms=WORD_MS * n, end_ms=WORD_MS * n + WORD_MS, confidence=Decimal("1.000")
            )
            for n, word in enumerate(spoken)
        )
        alternative = inp.Alternative(words=heard, score=Decimal("0.000"))
        return inp.Heard(at=ended, alternatives=(alternative,), grammar="story", started=started, ended=ended)

    def _wait(self, milliseconds: int) -> None:
        """Let time pass; whatever is due on the way happens when it is due."""
        until = self.visit.state.now + milliseconds
        while not self.visit.over:
            due = deadline(self.plan, self.visit.state)
            if due is None or due > until:
                break
            self.visit.wait()
        if not self.visit.over and self.visit.state.now < until:
            self.visit.take(inp.TimePassed(at=until))

    def _go(self, to: str, place: Place) -> None:
        for _ in range(MOST_ANSWERS):
            self.visit.until_asking()
            state = self.visit.state
            if self.visit.over or (state.gate == to and state.question.manner.asker in OF_A_GATE):
                break
            if state.status == "stopped":
                if to == STOPPED:
                    return
                raise StoryFault(f"the visit stopped at {state.gate} on the way to {to}", place)
            if state.question == Mark(which="last"):
                self._wait(1000 * int(self.shows.get(METER_TIME, MARKED_AFTER_S)))
                state = self.visit.state
            person = GoingAlong(self.plan, state, shows=self.shows, chosen=self.chosen, undone=self.undone)
            before = len(self.visit.events)
            words = person.words()
            self.visit.take(self._heard(words))
            self._understood(before, place, wanted=True, words=words)
        else:
            raise StoryFault(f"the visit does not come to {to}: it leads round at {self.visit.state.gate}", place)
        if self.visit.over and to != "end":
            why = "; it asks nothing, so go to a gate that asks" if self._asks_nothing(to) else ""
            raise StoryFault(f"the visit ended {self.visit.state.outcome}, and did not come to {to}{why}", place)

    def _asks_nothing(self, to: str) -> bool:
        placed = self.plan.procedure.gates.get(to)
        return placed is not None and not placed.gate.questions(self.plan.procedure.scope(to))

    def _understood(self, since: int, place: Place, *, wanted: bool, words: str | None) -> None:
        missed = [event for event in self.visit.events[since:] if isinstance(event, ev.NotUnderstood)]
        if missed and wanted:
            what = f'"{words}" was not understood at {self.visit.state.gate}: {missed[0].why}'
            raise StoryFault(what, place)
        if not missed and not wanted:
            raise StoryFault(f'"{words}" was understood at {self.visit.state.gate}', place)

    def _unlike(self, expected: Expected, since: int) -> Iterator[tuple[str, str]]:
        """Yield what is not as expected, each with the key that expects it."""
        state, events = self.visit.state, self.visit.events[since:]
        if expected.gate is not None and state.gate != expected.gate:
            yield "gate", f"expected the gate {expected.gate}, but the visit is at {state.gate}"
        if expected.asks is not None and state.question.kind != expected.asks:
            yield "asks", f"expected the question {expected.asks}, but it is {state.question.kind}"
        yield from _not_happened(expected, events)
        for gate, outcome in expected.verdict.items():
            given = state.verdicts.get(gate, "none")
            if given != outcome:
                yield "verdict", f"expected the verdict {outcome} at {gate}, but it is {given}"
        if expected.altered is not None and set(state.altered) != set(expected.altered):
            yield "altered", _other_things("altered", expected.altered, state.altered)
        elapsed, seconds = expected.elapsed, state.now // 1000
        if elapsed is not None and not elapsed.least <= seconds <= (
            seconds if elapsed.most is None else elapsed.most
        ):
            span = f"{elapsed.least} to {'any' if elapsed.most is None else elapsed.most}"
            yield "elapsed", f"expected {span} seconds, but {seconds} have passed"

    def _end(self) -> None:
        state = self.visit.state
        ended = state.outcome if self.visit.over else "open"
        if ended != self.story.ends:
            what = f"expected it to end {self.story.ends}, but it is {ended} at {state.gate}"
            raise StoryFault(what, self.place("ends"))
        if set(state.altered) != set(self.story.altered):
            what = _other_things("altered at the end", self.story.altered, state.altered)
            raise StoryFault(what, self.place("altered"))
        lacking = [one.what for one in state.lacking] if self.visit.over else []
        if sorted(lacking) != sorted(self.story.lacking):
            raise StoryFault(_other_things("lacking", self.story.lacking, lacking), self.place("lacking"))


def _not_happened(expected: Expected, events: Sequence[Event]) -> Iterator[tuple[str, str]]:
    """Yield what was to be said and to happen, and was not and did not."""
    said = [event.text for event in events if isinstance(event, ev.Said | ev.Asked) and event.text]
    for text in expected.spoken:
        if not any(text in one for one in said):
            yield "spoken", f'expected to hear "{text}", but the tool said: {" ".join(said) or "nothing"}'
    kinds = {event.kind for event in events}
    for kind in expected.events:
        if kind not in kinds:
            yield "events", f"expected {kind}, which did not happen"


def _other_things(what: str, wanted: Iterable[str], found: Iterable[str]) -> str:
    return f"expected {what}: {', '.join(wanted) or 'nothing'}; but it is: {', '.join(found) or 'nothing'}"
