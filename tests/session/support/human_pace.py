"""A person who leads a shipped visit at a human pace: with the hands first, then with a word.

How long each step takes, and what a person says, is common practice, no source; the steps are those of a whole
commissioning: light-ups, soap tests, a walk to the meter, the test of each protective device, a normal cycle.
It uses nothing but the session's own functions, so that an older version can be measured by the same file.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from rehearsed import DAY, hear, technician, twin

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.session.silence import deadline

Span = tuple[float, float, float]
"""Seconds: at least, at most, mostly."""

WORK: dict[str, Span] = {
    "heat-call": (15, 90, 30),
    "light-up": (30, 150, 60),
    "light-again": (60, 270, 130),
    **dict.fromkeys(("maximum-hold", "minimum-hold", "found-maximum-hold", "found-minimum-hold",
                     "first-maximum-hold", "first-minimum-hold", "back-maximum-hold", "minimum-again-hold",
                     "rule-minimum-hold", "final-hold", "final-minimum-hold"), (20, 100, 40)),
    "supply-hold": (20, 150, 60),
    "hold-off": (15, 150, 50),
    "added-load-on": (30, 170, 70),
    "flue-firing": (90, 280, 180),
    "settings-back": (40, 200, 90),
    **dict.fromkeys(("probe-in", "adjusting-probe-in", "final-minimum-probe-in"), (15, 100, 35)),
    **dict.fromkeys(("found-probe-out", "adjusted-probe-out", "left-probe-out", "manual-probe-out"),
                    (10, 90, 25)),
    **dict.fromkeys(("found-plug-in", "adjusted-plug-in", "left-plug-in", "manual-plug-in"), (10, 80, 25)),
    **dict.fromkeys(("maximum-cap-off", "minimum-cap-off", "maximum-grommet-off", "minimum-grommet-off"),
                    (10, 90, 25)),
    **dict.fromkeys(("maximum-screw", "minimum-screw"), (10, 110, 30)),
    "caps-fitted": (30, 180, 75),
    "air-duct": (20, 110, 45),
    **dict.fromkeys(("supply-by-the-manual", "adjusted-by-the-manual", "by-the-manual", "found-by-the-manual",
                     "left-by-the-manual", "band-by-the-manual", "adjusted-by-hand"), (20, 110, 50)),
    "adjustment-needed": (20, 150, 50),
    "meter-pressure": (40, 200, 80),
    "added-load-off": (30, 150, 60),
    "others-off": (30, 180, 80),
    "others-on": (30, 180, 80),
    "time-the-meter": (20, 120, 45),
    "air-flue-plug": (15, 90, 30),
    "air-probe-in": (15, 90, 30),
    "maximum-cover-off": (30, 150, 60),
    "minimum-cover-off": (30, 150, 60),
    "maximum-turn": (15, 100, 35),
    "minimum-turn": (15, 100, 35),
    "maximum-close": (30, 150, 60),
    "minimum-close": (30, 150, 60),
    "high-limit": (120, 460, 280),
    "low-water": (60, 300, 150),
    "gas-pressure-switch": (60, 300, 150),
    "blocked-vent": (60, 300, 150),
    "blocked-condensate": (60, 300, 150),
    "flow-switch": (60, 300, 150),
    "flame-failure": (60, 300, 150),
    "burner-at-rest": (20, 150, 60),
    "final-light-ups": (180, 560, 320),
    "leak-test-firing": (120, 460, 240),
    "flue-plug-leak": (40, 180, 90),
    "normal-cycle": (240, 620, 420),
    "put-back": (15, 120, 40),
}  # fmt: skip
"""By the last part of a gate's id; everything else is a look or a reach."""

LOOK: Span = (3, 30, 8)
AGAIN: Span = (2, 12, 4)
"""Another look at what is in front of the eyes."""

CHECK: Span = (1.6, 5, 2.5)
"""A yes or no to what was just said."""

QUICK = frozenset({"read-back", "thing-check", "done-check", "answer-check", "turn-check", "finish-check", "rate"})

WORKING = frozenset({"to-do", "choice", "values", "put-back", "turn"})
"""The hands are at work before these are answered."""

HOLD: Span = (130, 240, 170)
"""Somebody is at the door."""

ORDINARY = ("yes", "okay", "done", "all good")


@dataclass
class Tally:
    """What a visit cost the person."""

    utterances: int = 0
    confirmations: int = 0
    """Answers to something said back, and to rechecks."""
    repeats: int = 0
    """Questions asked once more."""
    not_understood: int = 0
    alarms: int = 0
    false_stops: int = 0
    minutes: float = 0.0
    end: str = ""
    firing: list[Rehearsal] = field(default_factory=list)
    """The visit at each question of a firing gate."""

    def notice(self, events: Iterable[ev.Decision]) -> None:
        """Count what was decided."""
        for event in events:
            self.repeats += isinstance(event, ev.Asked) and event.attempt > 1
            self.not_understood += isinstance(event, ev.NotUnderstood)
            self.alarms += isinstance(event, ev.ToneSounded) and event.name == "alarm"
            self.false_stops += isinstance(event, ev.Stopped)


class Person:
    """Works and speaks at a pace of their own."""

    def __init__(self, plan: Plan, seed: int) -> None:
        self.plan = plan
        self.dice = random.Random(seed)
        self.hands = technician(plan)
        self.tally = Tally()
        self.visit = Rehearsal(plan, DAY)
        gates = [gate_id for gate_id, placed in plan.procedure.gates.items() if placed.gate.kind == "confirm"]
        self.hold_at = self.dice.choice([gate_id for gate_id in gates if plan.gate(gate_id).gate.firing][:12])

    def seconds(self, state: State) -> float:
        """Return how long it takes until the person answers."""
        if state.question.kind in QUICK:
            return self.dice.triangular(*CHECK)
        if state.question.kind not in WORKING or state.attempt > 1:  # the work is done, it was only not understood
            return max(self.dice.triangular(*AGAIN), self.hands.seconds_before(state))
        name = state.gate.rpartition("/")[2]
        return self.dice.triangular(*WORK.get(name, WORK.get(name.removesuffix("-again"), LOOK)))

    def words(self, state: State) -> str:
        """Return what the person says: an ordinary word half of the time, else the tool's own."""
        own = self.hands.answer(state)
        ordinary = (
            state.question.kind in {"to-do", "read-back"} and state.attempt == 1 and self.dice.random() < 0.5
        )
        taken_for_yes = state.question.kind == "to-do" or own == self.plan.catalogue.answers["affirm"][0]
        return self.dice.choice(ORDINARY) if ordinary and taken_for_yes else own

    def lead(self, most: int = 3000) -> Tally:
        """Lead the visit to its end."""
        visit, tally = self.visit, self.tally
        for _ in range(most):
            if visit.over:
                break
            if not visit.asking:
                self._decided(visit.wait())
            elif self.hold_at == visit.state.gate and visit.state.question.kind == "to-do":
                self.hold_at = ""
                self._held()
            else:
                self._answer()
        tally.minutes = visit.state.now / 60_000
        tally.end = visit.state.gate
        return tally

    def _decided(self, events: tuple[ev.Decision, ...]) -> None:
        self.tally.notice(events)
        self.hands.notice(events, self.visit.state.now / 1000)

    def _answer(self) -> None:
        """Work, then say it; an alarm meanwhile is answered at once, so that the work can go on."""
        visit, asked = self.visit, self.visit.state.question
        if self.plan.gate(visit.state.gate).gate.firing and visit.state.status == "running":
            self.tally.firing.append(twin(visit))
        due_by = visit.state.now + round(1000 * self.seconds(visit.state))
        while (due := deadline(self.plan, visit.state)) is not None and due < due_by:
            before = self.tally.alarms
            self._decided(visit.take(inp.TimePassed(at=due)))
            if self.tally.alarms > before:
                self._say(self.plan.catalogue.everywhere["repeat"][0], 3.0)
            if visit.state.question != asked or visit.over:
                return
        self._say(self.words(visit.state), max(1.2, (due_by - visit.state.now) / 1000))
        if asked.kind in QUICK | {"recheck-thing", "still-firing"}:
            self.tally.confirmations += 1

    def _say(self, words: str, after_seconds: float) -> None:
        self.tally.utterances += 1
        self._decided(hear(self.visit, words, after_ms=round(1000 * after_seconds)))

    def _held(self) -> None:
        everywhere = self.plan.catalogue.everywhere
        self._say(everywhere["hold-on"][0], 2.0)
        self._say(everywhere["carry-on"][0], self.dice.triangular(*HOLD))


@dataclass(frozen=True)
class Fate:
    """What a silence comes to: seconds until alarm and stop, None when never in an hour; was somebody told."""

    alarm: float | None = None
    stop: float | None = None
    told: bool = False


def collapse(visit: Rehearsal) -> Fate:
    """Let the person fall silent; return what comes of it."""
    visit = twin(visit)
    since, fate = visit.state.now, Fate()
    while (due := deadline(visit.plan, visit.state)) is not None and due - since < 3_600_000:
        for event in visit.take(inp.TimePassed(at=due)):
            after = (due - since) / 1000
            if isinstance(event, ev.ToneSounded) and event.name == "alarm" and fate.alarm is None:
                fate = replace(fate, alarm=after)
            if isinstance(event, ev.Stopped):
                fate = replace(fate, stop=after)
            if isinstance(event, ev.Alerted):
                fate = replace(fate, told=True)
    return fate
