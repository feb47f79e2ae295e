"""Random visits: seeded explorers that answer as people might, and a count of the gates and transitions covered.

An explorer goes the usual way most of the time, so that it comes far. At each gate it first tries every transition
not yet taken on a copy of the visit, which is then dropped: a visit's state never changes once it is made.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.events.record import Event
from handsfree.events.state import State
from handsfree.gates.outcomes import DROPPED_BACK, ENDS, NOT_DONE
from handsfree.lexicon.meaning import CommandName
from handsfree.problem import Problem
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.ways import ways
from handsfree.questions.finding import Finding
from handsfree.questions.mark import Mark
from handsfree.questions.values import CallValues
from handsfree.session.around_limits import AroundLimits, around_limits, judging
from handsfree.session.deciding import invented
from handsfree.session.plan import Plan
from handsfree.session.playing import AgreeingPlayer
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.inventing import Chance

MOST_ANSWERS = 4_000
"""Answers of one visit; a visit that takes more is taken never to end."""

MOST_WAITS = 200
"""Times that pass one after the other before an answer is expected; a visit with more is taken never to ask."""

ASIDE_ANSWERS = 40
"""How many answers an odd value is followed for on a copy, where its readings must settle first."""

ASIDE_BEHIND = 6
"""How many answers it is followed beyond the gate that asked for it."""

MOST_TRIED = 3
"""How many explorers try odd values at a gate while a way behind it was not walked."""

STRAY = 0.04
"""How often something other than an answer is said."""

ODD_WHERE_JUDGED = 0.25
"""How often a value is odd at its first reading where a limit of the procedure judges it."""

BACK_IN, STEPS_ON = 0.4, 0.9
"""How often a stopped visit goes back in, and a step after a stop leads on."""

TROUBLES = (0.01, 0.04, 0.15)
"""How often values are unusual, missing or still moving, and gates not done, on a visit of each temper."""

ASIDES: tuple[CommandName, ...] = (
    "repeat",
    "go-back",
    "hold-on",
    "where-am-i",
    "what-is-left",
    "that-was-wrong",
    "note",
)

Transition = tuple[str, str]


@dataclass
class Coverage:
    """What all explorers have seen together."""

    procedure: Procedure
    entered: set[str] = field(default_factory=set)
    passed: set[Transition] = field(default_factory=set)
    ends: dict[str, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    tried: dict[str, int] = field(default_factory=dict)
    """Gate -> how often values around its limits were tried aside."""

    @property
    def transitions(self) -> frozenset[Transition]:
        """Every transition that some visit can take."""
        return ways(self.procedure)

    def notice(self, events: Iterable[Event]) -> None:
        """Count the gates entered and the transitions taken."""
        for event in events:
            if isinstance(event, ev.GateEntered):
                self.entered.add(event.gate)
            elif isinstance(event, ev.GatePassed):
                self.passed.add((event.gate, event.outcome))


def explore_randomly(plan: Plan, day: date, explorers: int, seed: int = 1) -> Coverage:
    """Let explorers visit, each with its own seed, and return what they covered and what went wrong."""
    coverage = Coverage(plan.procedure)
    for number in range(explorers):
        _Explorer(plan, day, seed + number, coverage).visit()
    return coverage


class _Explorer:
    """One random visit."""

    def __init__(self, plan: Plan, day: date, seed: int, coverage: Coverage) -> None:
        self._dice = random.Random(seed)  # noqa: S311 - seeded on purpose, nothing secret
        self._seed = seed
        sheets = invented(plan.procedure, plan.trade.inventing.sheets(plan.sheets, self._dice), self._dice)
        self._plan = Plan(plan.procedure, sheets)
        self._coverage = coverage
        self._visit = Rehearsal(self._plan, day)
        self._trouble = self._dice.choice(TROUBLES)
        self._always = Decimal("-0.6") if self._dice.random() < 0.06 else None
        self._causes: dict[tuple[str, int], Decimal] = {}
        self._moving: dict[tuple[str, int], bool] = {}
        self._tried: set[Transition] = set()
        self._picked: dict[tuple[str, int, str], Decimal] = {}
        self._fixed: dict[tuple[str, str], Decimal | None] = {}
        coverage.notice(self._visit.events)

    def visit(self) -> None:
        """Answer until the visit is over; note what must never happen."""
        try:
            for _ in range(MOST_ANSWERS):
                before = len(self._visit.events)
                self._until_asking()
                self._coverage.notice(self._visit.events[before:])
                if self._visit.over:
                    self._ended()
                    return
                self._try_other_transitions()
                self._try_other_values()
                self._say(self._visit, self._next_words())
            self._fault(f"does not end within {MOST_ANSWERS} answers")
        except (AssertionError, LookupError, ArithmeticError, TypeError, ValueError, Problem) as error:
            self._fault(f"{type(error).__name__}: {error}")

    def _until_asking(self) -> None:
        """Let waits pass, and try aside to break off each that can be."""
        for _ in range(MOST_WAITS):
            if self._visit.over or self._visit.asking:
                return
            self._try_other_transitions()
            self._visit.wait()

    def _fault(self, what: str) -> None:
        self._coverage.faults.append(f"seed {self._seed}, at {self._visit.state.gate}: {what}")

    def _ended(self) -> None:
        state = self._visit.state
        finished, outcome = state.gate == ENDS[1], state.outcome
        self._coverage.ends[outcome] = self._coverage.ends.get(outcome, 0) + 1
        if finished and state.altered:
            self._fault(f"finished with {', '.join(state.altered)} altered")

    def _say(self, visit: Rehearsal, words: str) -> None:
        if visit.state.question == Mark(which="last"):
            visit.wait(70)
        self._coverage.notice(visit.say(words))

    def _try_other_transitions(self) -> None:
        """Take each transition that no explorer has taken yet, on a copy, up to the next gate."""
        state = self._visit.state
        if not self._at_gate(state) or state.status != "running":
            return
        placed = self._plan.gate(state.gate)
        for outcome, words in _transitions_in_words(self._plan, placed):
            transition = (state.gate, outcome)
            if transition in self._coverage.passed or transition in self._tried:
                continue
            self._tried.add(transition)
            aside = copy.copy(self._visit)
            aside.events = []
            self._say(aside, words)
            if isinstance(aside.state.question, Finding):
                self._say(aside, self._answer(aside.state))

    def _try_other_values(self) -> None:
        """Call values around the gate's limits, and none at all, on copies, and follow each up to the verdict."""
        state = self._visit.state
        placed = self._plan.gate(state.gate)
        effects = placed.gate.effects
        if state.question != CallValues() or effects.measures or not self._worth_trying(placed):
            return
        for quantity in (ask.quantity for ask in effects.asks):
            if quantity in self._plan.catalogue.quantities:
                odd = (
                    ()
                    if quantity in self._plan.trade.inventing.tied
                    else around_limits(self._plan, placed, quantity).odd
                )
                for value in (*odd, None):
                    self._follow(quantity, value)

    def _worth_trying(self, placed: PlacedGate) -> bool:
        """Say whether some way out of what judges this gate's readings was not walked yet, nor tried often."""
        tried = self._coverage.tried.get(placed.id, 0)
        judges = list(judging(self._plan.procedure, placed.gate.effects.kept_at)) or [placed]
        left = {(one.id, outcome) for one in judges for outcome in one.transitions} - self._coverage.passed
        if not left or tried >= MOST_TRIED:
            return False
        self._coverage.tried[placed.id] = tried + 1
        return True

    def _follow(self, quantity: str, value: Decimal | None) -> None:
        """Call a value on a copy, as often as it is asked for, up to the gates behind the verdict."""
        gate = self._visit.state.gate
        self._fixed = {(gate, quantity): value}
        aside = copy.copy(self._visit)
        aside.events = []
        left = 0
        for _ in range(ASIDE_ANSWERS):
            aside.until_asking()
            if aside.over or aside.state.status != "running":
                break
            left += aside.state.gate != gate
            if left > ASIDE_BEHIND:
                break
            self._say(aside, self._answer(aside.state))
        self._fixed = {}

    def _digits(self, quantity: str, value: Decimal) -> str:
        known = self._plan.catalogue.quantities[quantity]
        step = Decimal(1).scaleb(-known.decimals)
        shown = self._plan.displayed(quantity, min(max(value, known.low), known.high).quantize(step))
        return self._plan.numbers.digits(shown)

    def _next_words(self) -> str:
        state, catalogue = self._visit.state, self._plan.catalogue
        if state.status == "stopped":
            return self._answer(state)
        if state.held_since is not None:
            return catalogue.everywhere["carry-on"][0]
        if self._dice.random() < STRAY:
            return catalogue.everywhere[self._dice.choice(ASIDES)][0]
        placed = self._plan.gate(state.gate)
        if NOT_DONE in placed.transitions and self._at_gate(state) and self._dice.random() < self._trouble / 8:
            return f"{catalogue.everywhere['not-done'][0]} there is no time"
        return self._answer(state)

    def _at_gate(self, state: State) -> bool:
        """Say whether the gate's own first question is open."""
        first = self._plan.gate(state.gate).gate.questions(self._plan.scope(state.gate))[:1]
        return state.question.kind in {question.kind for question in first}

    def _answer(self, state: State) -> str:
        return state.question.played(_Player(self._plan, state, self))

    def after_a_stop(self, ways: tuple[str, ...]) -> str:
        """Go back in now and then, else have the record closed."""
        on = [way for way in ways if way != "close"]
        back = bool(on) and self._dice.random() < BACK_IN
        return self._plan.catalogue.answers[self._dice.choice(on) if back else "close"][0]

    def steps_on(self, step: str) -> str:
        """Return any answer to a step after a stop, mostly one that leads on."""
        words, facts = self._plan.catalogue.steps[step], self._plan.catalogue.stops.steps[step]
        on = self._dice.random() < STEPS_ON
        return words.answers[self._dice.choice(facts.on if on else facts.answers)][0]

    def spoken(self, record: ev.ReadingRecord) -> str:
        """Return a recorded value in words, as it was called."""
        return record.value if record.value[:1].isalpha() else self._plan.called(record)

    def chosen(self, placed: PlacedGate) -> str:
        """Return an answer by name, mostly one that does not stop the visit."""
        names = list(placed.gate.phrases)
        on = [name for name in names if not self._stops(self._plan.led_to(placed.id, name))]
        return self._dice.choice(on if on and self._dice.random() < 0.97 else names)

    def _stops(self, to: str) -> bool:
        return to not in ENDS and self._plan.gate(to).gate.effects.end == "stop"

    def value(self, state: State, quantity: str) -> str:
        """Return a value in words: in the middle of what is allowed mostly, at and beyond the edges sometimes."""
        known = self._plan.catalogue.quantities.get(quantity)
        if known is None:
            return "1"
        kept_at = self._plan.gate(state.gate).gate.effects.kept_at
        nothing = self._plan.catalogue.answers["no-reading"][0]
        if (state.gate, quantity) in self._fixed:
            fixed = self._fixed[state.gate, quantity]
            return nothing if fixed is None else self._digits(quantity, fixed)
        if self._dice.random() < self._trouble / 10:
            return nothing
        entry = (state.gate, state.entered.get(state.gate, 0))
        inventing = self._plan.trade.inventing
        if quantity in inventing.tied:
            cause = self._causes.setdefault(entry, self._cause(state))
            if self._moving.setdefault(entry, self._dice.random() < self._trouble / 2):
                cause += inventing.step * len(state.sets.get(kept_at, ()))
            return self._plan.numbers.digits(inventing.reading(self._plan.sheets, quantity, cause))
        placed = self._plan.gate(state.gate)
        around = around_limits(self._plan, placed, quantity)
        value = self._picked.setdefault((*entry, quantity), self._pick(around, again=entry[1] > 1))
        settles = placed.gate.effects.settle is not None
        if settles and self._moving.setdefault(entry, self._dice.random() < self._trouble / 2):
            value += Decimal(len(state.sets.get(kept_at, ()))) * max(Decimal(1), abs(value) / 20)
        return self._digits(quantity, value)

    def _pick(self, around: AroundLimits, *, again: bool) -> Decimal:
        """Return the inside value mostly; an edge or one outside more often where something judges it."""
        odds = ODD_WHERE_JUDGED if around.judged and not again else self._trouble
        return self._dice.choice(around.odd) if around.odd and self._dice.random() < odds else around.inside

    def _cause(self, state: State) -> Decimal:
        rate = self._plan.gate(state.gate).gate.effects.rate
        turned = any(move.rate == (rate or "maximum") for move in state.moves)
        odds = 0.3 if turned else max(0.15, self._trouble)  # a turn mostly brings it in
        chance = Chance(self._dice, odds, self._always)
        return self._plan.trade.inventing.cause(self._plan.sheets, rate, chance)


@dataclass
class _Player(AgreeingPlayer):
    """Answers as the explorer throws the dice."""

    explorer: _Explorer | None = None

    @property
    def _thrown(self) -> _Explorer:
        assert self.explorer is not None
        return self.explorer

    def value(self, quantity: str) -> str:
        """Return a value, usual or not."""
        return self._thrown.value(self.state, quantity)

    def calls_again(self, quantities: tuple[str, ...]) -> str:
        """Return the value that was called before, if it was."""
        quantity = self.scope.only(quantities)[0].quantity
        pending = self.state.pending.values.get(quantity)
        return self.value(quantity) if pending is None else self._thrown.spoken(pending)

    def chooses(self) -> str:
        """Return any of the answers."""
        placed = self.plan.gate(self.state.gate)
        return placed.gate.phrases[self._thrown.chosen(placed)][0]

    def after_a_stop(self, ways: tuple[str, ...]) -> str:
        """Close the record mostly."""
        return self._thrown.after_a_stop(ways)

    def steps_on(self, step: str) -> str:
        """Return any answer to a step after a stop."""
        return self._thrown.steps_on(step)


def _transitions_in_words(plan: Plan, placed: PlacedGate) -> Iterator[Transition]:
    """Yield each outcome that one utterance brings about, with its words."""
    gate, words = placed.gate, plan.catalogue
    if not gate.effects.restores:  # those are read back first
        for name, phrases in gate.phrases.items():
            yield name, phrases[0]
    if DROPPED_BACK in placed.transitions:
        yield DROPPED_BACK, words.answers["dropped-back"][0]
    if NOT_DONE in placed.transitions:
        yield NOT_DONE, f"{words.everywhere['not-done'][0]} there is no time"
