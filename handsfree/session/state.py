"""The state of a visit, and `apply`: how each event changes it. Nothing else ever changes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from handsfree.procedure.phrases import Question
from handsfree.procedure.procedure import NOT_DONE, STOPPED
from handsfree.session import events as ev
from handsfree.session import inputs as inp
from handsfree.session.plan import STOP, Plan

_NOTHING: Mapping[Any, Any] = MappingProxyType({})


def _nothing() -> Mapping[Any, Any]:
    return _NOTHING


def _with(mapping: Mapping[Any, Any], key: Any, value: Any) -> Mapping[Any, Any]:
    return MappingProxyType({**mapping, key: value})


def _without(mapping: Mapping[Any, Any], key: Any) -> Mapping[Any, Any]:
    return MappingProxyType({k: v for k, v in mapping.items() if k != key})


NO_QUESTION = Question("nothing")
EARS = frozenset({"microphone", "recogniser"})
"""Without either of these devices nothing is heard."""


@dataclass(frozen=True)
class ReadingSet:
    """One set of accepted values with its time."""

    number: int
    at: int
    values: Mapping[str, ev.ReadingRecord] = field(default_factory=_nothing)
    complete: bool = False
    doubted: str = ""
    """Why its CO2 and O2 cannot both be true."""


@dataclass(frozen=True)
class Pending:
    """Values called but not accepted: by quantity, with those to be called a second time."""

    values: Mapping[str, ev.ReadingRecord] = field(default_factory=_nothing)
    doubtful: tuple[str, ...] = ()
    unsure: bool = False
    """They were heard in some doubt: silence accepts none of them."""
    corrected: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Settled:
    """A settled value and the standard uncertainty that settling leaves."""

    reading: ev.ReadingRecord
    uncertainty: Decimal


@dataclass(frozen=True)
class Move:
    """A turn made, and the number of settled CO2 values known when it was made."""

    rate: str
    direction: str
    eighths: int
    at: int


@dataclass(frozen=True)
class State:
    """Everything a decision may depend on."""

    status: str = "new"
    """new, running, stopped, closed"""
    day: str = ""
    now: int = 0
    gate: str = ""
    question: Question = NO_QUESTION
    text: str = ""
    attempt: int = 0
    doubt: str = ""
    """What spoke against the last understanding."""
    asked_at: int = 0
    silent_since: int = 0
    until: int | None = None
    speaking: bool = False
    unsaid: bool = False
    """The question at hand is still being said: its silence is counted from the end of that."""
    by_keys: bool = False
    """The last answer came by keys: who reads and presses is not silent after a second and a half."""
    cut_off: bool = False
    """A person spoke over it, and it fell silent before its end."""
    alarmed: bool = False
    held_since: int | None = None
    entered: Mapping[str, int] = field(default_factory=_nothing)
    passed: tuple[str, ...] = ()
    altered: Mapping[str, str] = field(default_factory=_nothing)
    """Thing -> the gate that altered it, in the order they were altered."""
    altered_at: Mapping[str, int] = field(default_factory=_nothing)
    """Thing -> when it was last altered."""
    found: Mapping[str, ev.ReadingRecord] = field(default_factory=_nothing)
    sets: Mapping[str, tuple[ReadingSet, ...]] = field(default_factory=_nothing)
    settled: Mapping[str, Mapping[str, Settled]] = field(default_factory=_nothing)
    pending: Pending = field(default_factory=Pending)
    pair_refused: bool = False
    pair_doubted: str = ""
    """Why CO2 and O2 of the set being called, called twice, cannot both be true."""
    rate_called: str | None = None
    marks: tuple[int, ...] = ()
    last_change: int = 0
    """When an adjuster, the rate, the cover or the probe was last changed."""
    moves: tuple[Move, ...] = ()
    history: tuple[tuple[str, str, str], ...] = ()
    """Settled CO2 values and turns in order, for the advice: (kept at, value, "") or ("turn", rate, text)."""
    verdicts: Mapping[str, str] = field(default_factory=_nothing)
    not_done: tuple[str, ...] = ()
    burner_outs: int = 0
    rechecks: tuple[str, ...] = ()
    rate_lost: str = ""
    """Why the rate is not held any more, as a recheck found it."""
    accepted: int = 0
    last_accepted: ev.ReadingRecord | None = None
    returns: tuple[Question, str, int | None] | None = None
    """The question that a note interrupted, its text, and the end of its wait."""
    lost: frozenset[str] = field(default_factory=frozenset)

    @property
    def deaf(self) -> bool:
        """Whether nothing can be heard at the moment, so that silence means nothing."""
        return bool(self.lost & EARS)

    def as_found_open(self, thing: str) -> bool:
        """Whether what is read of a thing is as found: once it was altered, put back or not, nothing is."""
        return thing not in self.altered_at

    def readings(self, kept_at: str) -> tuple[ReadingSet, ...]:
        """Return the complete sets kept under a name."""
        return tuple(taken for taken in self.sets.get(kept_at, ()) if taken.complete)

    def doubted(self, kept_at: str) -> str:
        """Return why CO2 and O2 kept under a name cannot both be true: the last set there says it for now."""
        taken = self.readings(kept_at)
        return taken[-1].doubted if taken else ""


def apply(plan: Plan, state: State, event: Any) -> State:
    """Return the state after an event; AssertionError when the event cannot follow (a record that was altered)."""
    match event:
        case inp.SpeechEnded():
            silent_since = event.at if state.attempt == 1 and state.unsaid else state.silent_since
            return replace(
                state,
                now=event.at,
                speaking=False,
                unsaid=False,
                cut_off=event.cut,
                asked_at=event.at,
                silent_since=silent_since,
            )
        case inp.DeviceLost():
            return replace(state, now=event.at, lost=state.lost | {event.device})
        case inp.DeviceFound():
            return replace(state, now=event.at, lost=state.lost - {event.device})
        case inp.Resumed():
            return replace(
                state,
                now=event.at,
                speaking=False,
                unsaid=False,
                asked_at=event.at,
                silent_since=event.at,
                held_since=None,
                cut_off=False,
                lost=frozenset(),
            )
        case inp.Heard() | inp.Typed():
            return replace(state, now=event.at, by_keys=isinstance(event, inp.Typed))
        case inp.TimePassed() | inp.SoundPoor():
            return replace(state, now=event.at)
        case ev.VisitOpened():
            return replace(state, status="running", day=event.day, now=event.at, last_change=event.at)
        case ev.Said():
            return replace(state, speaking=True)
        case ev.Asked():
            return _asked(state, event)
        case ev.ToneSounded():
            return replace(state, alarmed=state.alarmed or event.name == "alarm")
        case ev.Understood():
            return replace(state, silent_since=state.now, alarmed=False, doubt=event.doubt)
        case ev.NotUnderstood():
            return state
        case ev.GateEntered():
            assert state.gate in {event.gate, ""}, "a gate is entered that no way leads to"
            entered = _with(state.entered, event.gate, state.entered.get(event.gate, 0) + 1)
            return replace(
                _nothing_called(state), gate=event.gate, entered=entered, marks=(), rechecks=(), rate_lost=""
            )
        case ev.GatePassed():
            return _gate_passed(plan, state, event)
        case ev.WentBack():
            to = plan.back(state.gate, event.to)
            return _back_at(state, to)
        case ev.ReadBack():
            called = MappingProxyType({reading.quantity: reading for reading in event.values})
            unsure = state.pending.unsure or bool(state.doubt)
            pending = replace(state.pending, values=called, doubtful=event.doubtful, unsure=unsure)
            return replace(state, pending=pending, pair_doubted="")  # other values: the pair is judged anew
        case ev.ReadingCorrected():
            pending = state.pending
            corrected = pending.corrected | {event.now.quantity}
            values = _with(pending.values, event.now.quantity, event.now)
            return replace(state, pending=replace(pending, values=values, corrected=corrected))
        case ev.ReadingRefused():
            pending = replace(state.pending, values=_without(state.pending.values, event.reading.quantity))
            return replace(state, pending=pending, pair_refused=state.pair_refused or event.pair)
        case ev.ReadingAccepted():
            return _accepted(state, event)
        case ev.RateCalled():
            return replace(state, rate_called=event.rate)
        case ev.SetTaken():
            whole = {"complete": True, "at": event.at, "doubted": state.pair_doubted}
            sets = _each(state, event.kept_at, lambda taken: replace(taken, **whole))
            return replace(_nothing_called(state), sets=sets)
        case ev.SetVoided():
            return replace(
                _nothing_called(state),
                sets=_without(state.sets, event.kept_at),
                settled=_without(state.settled, event.kept_at),
            )
        case ev.PairDoubted():
            return replace(state, pair_doubted=event.reason)
        case ev.ValueSettled():
            here = _with(
                state.settled.get(event.kept_at, _NOTHING),
                event.reading.quantity,
                Settled(event.reading, Decimal(event.uncertainty)),
            )
            history = state.history
            if event.reading.quantity == plan.trade.adjusting.follows:
                history = (*history, (event.kept_at, event.reading.value, event.uncertainty))
            return replace(state, settled=_with(state.settled, event.kept_at, here), history=history)
        case ev.FoundValue():
            if not state.as_found_open(event.thing):
                return state  # an older version recorded such values; what must be put back is the first
            return replace(state, found=_with(state.found, event.thing, event.reading))
        case ev.Altered():
            return replace(
                state,
                altered=_with(state.altered, event.thing, event.gate),
                altered_at=_with(state.altered_at, event.thing, event.at),
                last_change=event.at,
            )
        case ev.Restored():
            return replace(state, altered=_without(state.altered, event.thing), last_change=event.at)
        case ev.Marked():
            return replace(state, marks=(*state.marks, event.onset))
        case ev.VerdictGiven():
            return replace(state, verdicts=_with(state.verdicts, event.gate, event.outcome))
        case ev.Turned():
            move = Move(event.rate, event.direction, event.eighths, event.at)
            turned = ("turn", event.rate, f"{event.direction} {event.eighths}")
            return replace(
                state, moves=(*state.moves, move), history=(*state.history, turned), last_change=event.at
            )
        case ev.NotDone():
            return replace(state, not_done=(*_others(state.not_done, event.gate), event.gate))
        case ev.Held():
            return replace(state, held_since=event.at)
        case ev.CarriedOn():
            return replace(state, held_since=None)
        case ev.RecheckBegun():
            return replace(state, rechecks=event.items, rate_lost="", last_change=event.at)
        case ev.Rechecked():
            return _rechecked(plan, state, event)
        case ev.BurnerWentOut():
            return replace(state, burner_outs=state.burner_outs + 1)
        case ev.Stopped():
            assert plan.move(state.gate, STOP) == STOPPED
            return replace(state, status="stopped", pending=Pending(), held_since=None, rechecks=())
        case ev.Cleared():
            back = event.gate != state.gate and event.gate in state.passed
            cleared = _back_at(state, event.gate) if back else state
            return replace(cleared, status="running", gate=plan.again(event.gate))
        case ev.VisitClosed():
            return replace(state, status="closed", question=Question("nothing"), until=None)
        case _:
            return state


def _nothing_called(state: State) -> State:
    """Return the state as a new set begins: what was called, refused or doubted belonged to the one before."""
    return replace(state, pending=Pending(), pair_refused=False, pair_doubted="", rate_called=None)


def _asked(state: State, event: ev.Asked) -> State:
    note = event.question == "note" and state.question.kind != "note"
    return replace(
        state,
        question=Question(event.question, event.about),
        text=event.text,
        attempt=event.attempt,
        asked_at=event.at,
        silent_since=event.at if event.attempt == 1 else state.silent_since,
        until=event.until,
        speaking=state.speaking or bool(event.text),
        unsaid=state.unsaid or bool(event.text),
        returns=(state.question, state.text, state.until) if note else state.returns,
    )


def _gate_passed(plan: Plan, state: State, event: ev.GatePassed) -> State:
    to = plan.move(event.gate, event.outcome)
    assert to == event.to, f"{event.outcome!r} of {event.gate} leads to {to}, not to {event.to}"
    not_done = state.not_done if event.outcome == NOT_DONE else _others(state.not_done, event.gate)
    return replace(state, gate=to, passed=(*state.passed, event.gate), not_done=not_done)


def _others(gates: tuple[str, ...], gate: str) -> tuple[str, ...]:
    return tuple(one for one in gates if one != gate)


def _back_at(state: State, to: str) -> State:
    """Return the state back at a gate passed before: the verdicts given since are open again."""
    passed = state.passed[: len(state.passed) - 1 - state.passed[::-1].index(to)]
    verdicts = MappingProxyType({gate: outcome for gate, outcome in state.verdicts.items() if gate in passed})
    return replace(state, gate=to, passed=passed, verdicts=verdicts)


def _rechecked(plan: Plan, state: State, event: ev.Rechecked) -> State:
    """Return the state with one answer of a recheck; a rate that is lost is acted on when all are answered."""
    lost = state.rate_lost
    if event.item == "burner" and event.answer == "off":
        lost = "the burner was off"
    elif event.item == "rate" and event.answer != getattr(plan.gate(state.gate).gate, "rate", None):
        lost = lost or f"the rate called was {event.answer}"
    return replace(state, rechecks=_others(state.rechecks, event.item), rate_lost=lost)


def _accepted(state: State, event: ev.ReadingAccepted) -> State:
    taken = state.sets.get(event.kept_at, ())
    if not taken or taken[-1].number != event.number:
        taken = (*taken, ReadingSet(event.number, event.at))
    last = replace(taken[-1], values=_with(taken[-1].values, event.reading.quantity, event.reading))
    pending = replace(
        state.pending,
        values=_without(state.pending.values, event.reading.quantity),
        doubtful=tuple(q for q in state.pending.doubtful if q != event.reading.quantity),
    )
    return replace(
        state,
        sets=_with(state.sets, event.kept_at, (*taken[:-1], last)),
        pending=pending,
        accepted=state.accepted + 1,
        last_accepted=event.reading,
    )


def _each(state: State, kept_at: str, change: Any) -> Mapping[str, tuple[ReadingSet, ...]]:
    taken = state.sets.get(kept_at, ())
    return _with(state.sets, kept_at, (*taken[:-1], change(taken[-1])))
