"""A visit without sound, a ledger or real time: typed words through the machine, the clock going where it is due.

Used by rehearsals, by the authors' explorers, and by tests. Nothing here decides anything.
"""

from __future__ import annotations

from datetime import date

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.earlier import EarlierVisit
from handsfree.events.record import Event
from handsfree.events.state import State
from handsfree.session.apply import after, apply
from handsfree.session.decide import decide
from handsfree.session.opening import opened, opening
from handsfree.session.plan import Plan
from handsfree.session.silence import deadline

SPEAKING_MS = 1_200
"""How long the tool is taken to speak, and a person to answer."""


class Rehearsal:
    """A visit rehearsed with typed words; `events` holds everything so far, inputs included."""

    def __init__(self, plan: Plan, day: date, earlier: tuple[EarlierVisit, ...] = ()) -> None:
        first = opened(plan, program="rehearsal", day=day, sheets_sha256={}, model_sha256=None, earlier=earlier)
        self.plan = plan
        self.events: list[Event] = list(opening(plan, first))
        self.state = after(plan, State(), tuple(self.events))
        self._speech_ends()

    @property
    def over(self) -> bool:
        """Whether the visit is closed."""
        return self.state.status == "closed"

    @property
    def asking(self) -> bool:
        """Whether an answer is expected now (not during a silent wait)."""
        return self.state.question.manner.awaits == "answer"

    def say(self, text: str) -> tuple[ev.Decision, ...]:
        """Answer by typed words; return what was decided."""
        return self._take(inp.Typed(at=self.state.now + SPEAKING_MS, text=text))

    def wait(self, seconds: float | None = None) -> tuple[ev.Decision, ...]:
        """Let time pass: so many seconds, or until the next thing is due (nothing when nothing is)."""
        due = deadline(self.plan, self.state)
        at = due if seconds is None else self.state.now + round(1000 * seconds)
        return () if at is None else self._take(inp.TimePassed(at=at))

    def until_asking(self, most: int = 200) -> None:
        """Let waits pass until an answer is expected or the visit is over."""
        for _ in range(most):
            if self.over or self.asking:
                return
            self.wait()

    def resume(self) -> tuple[ev.Decision, ...]:
        """Do as if the program had been interrupted here."""
        return self._take(inp.Resumed(at=self.state.now + SPEAKING_MS, program="rehearsal"))

    def take(self, event: inp.Input) -> tuple[ev.Decision, ...]:
        """Take any input, for instance an utterance."""
        return self._take(event)

    def _take(self, event: inp.Input) -> tuple[ev.Decision, ...]:
        decisions = decide(self.plan, self.state, event)
        self.state = after(self.plan, apply(self.plan, self.state, event), decisions)
        self.events += [event, *decisions]
        if self.state.speaking and not self.over:
            self._speech_ends()
        return decisions

    def _speech_ends(self) -> None:
        self._take_quietly(inp.SpeechEnded(at=self.state.now + SPEAKING_MS))

    def _take_quietly(self, event: inp.SpeechEnded) -> None:
        self.state = apply(self.plan, self.state, event)
        self.events.append(event)
