"""`apply`: how each event changes the state of a visit. Nothing else ever changes it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import assert_never

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.devices import INSTRUMENT
from handsfree.events.record import Event
from handsfree.events.replacing import replace, with_item, without
from handsfree.events.state import Interrupted, Pending, ReadingSet, Settled, State, ValueKept
from handsfree.gates.outcomes import NOT_DONE
from handsfree.questions.nothing import Nothing
from handsfree.questions.turn_check import TurnCheck
from handsfree.session.apply_stops import (
    at_again,
    back_at,
    paused,
    re_entered,
    step_reported,
    step_taken_back,
    steps_begun,
    steps_owed,
    stopped,
)
from handsfree.session.apply_turns import turn_told, turned
from handsfree.session.plan import Plan

ROWS_KEPT_MS = 60_000
"""How long a row of an instrument is kept to be compared: longer than any call lies back."""
MOST_ROWS = 120


def after(plan: Plan, state: State, events: Iterable[Event]) -> State:
    """Return the state after the events."""
    for event in events:
        state = apply(plan, state, event)
    return state


def apply(plan: Plan, state: State, event: Event) -> State:
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
            told = state.instrument_told or event.device == INSTRUMENT
            return replace(state, now=event.at, lost=state.lost | {event.device}, instrument_told=told)
        case inp.InstrumentRow():
            fresh = tuple(row for row in state.rows if event.at - row.at <= ROWS_KEPT_MS)[-MOST_ROWS:]
            return replace(state, now=event.at, rows=(*fresh, event))
        case inp.DeviceFound():
            return replace(state, now=event.at, lost=state.lost - {event.device})
        case inp.Resumed():
            return replace(
                paused(state, state.now, event.at),
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
        case inp.SignatureDrawn():
            wanted = plan.gate(state.gate).gate.effects.signed_by if state.status == "running" else ()
            signed = state.signed | ({event.signature.whose} & set(wanted))
            return replace(state, now=event.at, signed=signed)
        case inp.PhotoTaken():
            photos = with_item(state.photos, event.gate, state.photos.get(event.gate, 0) + 1)
            return replace(state, now=event.at, photos=photos)
        case inp.TimePassed() | inp.SoundPoor():
            return replace(state, now=event.at)
        case ev.VisitOpened():
            opened = replace(
                state,
                status="running",
                day=event.day,
                now=event.at,
                last_change=event.at,
                photos_wanted=event.photos,
                earlier=event.earlier,
            )
            sound_kept = (
                event.sound or plan.sheets.job.sound
            ) == "kept"  # begun by keys, heard later: nobody was asked
            return replace(opened, sound_kept=sound_kept, consent_due=event.sound == "ask")
        case ev.SoundConsent():
            return replace(state, sound_kept=event.kept, consent_due=False)
        case ev.Said():
            return replace(state, speaking=True)
        case ev.Asked():
            return _asked(state, event)
        case ev.ToneSounded():
            return replace(state, alarmed=state.alarmed or event.name == "alarm")
        case ev.Understood():
            return replace(state, silent_since=state.now, alarmed=False, granted_until=0, doubt=event.doubt)
        case ev.NotUnderstood():
            return state
        case ev.GateEntered():
            assert state.gate in {event.gate, ""}, "a gate is entered that no transition leads to"
            entered = with_item(state.entered, event.gate, state.entered.get(event.gate, 0) + 1)
            return replace(
                _nothing_called(state),
                gate=event.gate,
                entered=entered,
                entered_at=event.at,
                marks=(),
                rechecks=(),
                rate_lost="",
            )
        case ev.GatePassed():
            return _gate_passed(plan, state, event)
        case ev.WentBack():
            to = plan.back(state.gate, event.to)
            return back_at(state, to)
        case ev.ReadBack():
            called = MappingProxyType({reading.quantity: reading for reading in event.values})
            unsure = state.pending.unsure or bool(state.doubt)
            pending = replace(state.pending, values=called, doubtful=event.doubtful, unsure=unsure)
            return replace(state, pending=pending, pair_doubted="")  # other values: the pair is judged anew
        case ev.ReadingCorrected():
            pending = state.pending
            corrected = pending.corrected | {event.now.quantity}
            values = with_item(pending.values, event.now.quantity, event.now)
            return replace(state, pending=replace(pending, values=values, corrected=corrected))
        case ev.ReadingRefused():
            pending = replace(state.pending, values=without(state.pending.values, event.reading.quantity))
            return replace(state, pending=pending, pair_refused=state.pair_refused or event.pair)
        case ev.ReadingAccepted():
            return _accepted(state, event)
        case ev.InstrumentCompared():
            if not event.asks and event.reading is not None:
                return state
            contested = state.pending.contested | {event.shown.quantity}
            return replace(state, pending=replace(state.pending, contested=contested))
        case ev.RateCalled():
            return replace(state, rate_called=event.rate)
        case ev.SetTaken():
            at, doubted = event.at, state.pair_doubted
            sets = _last(state, event.kept_at, lambda one: replace(one, complete=True, at=at, doubted=doubted))
            return replace(_nothing_called(state), sets=sets)
        case ev.LastTimeTold():
            return replace(state, compared=with_item(state.compared, plan.where_read(event.gate), event.kept_at))
        case ev.SetVoided():
            return replace(
                _nothing_called(state),
                sets=without(state.sets, event.kept_at),
                settled=without(state.settled, event.kept_at),
            )
        case ev.PairDoubted():
            return replace(state, pair_doubted=event.reason)
        case ev.ValueSettled():
            here = with_item(
                state.settled.get(event.kept_at, MappingProxyType({})),
                event.reading.quantity,
                Settled(event.reading, Decimal(event.uncertainty)),
            )
            kept = ValueKept(event.kept_at, event.reading.quantity, Decimal(event.reading.value))
            history = (*state.history, kept)
            return replace(state, settled=with_item(state.settled, event.kept_at, here), history=history)
        case ev.FoundValue():
            if not state.as_found_open(event.thing):
                return state  # an older version recorded such values; what must be put back is the first
            return replace(state, found=with_item(state.found, event.thing, event.reading))
        case ev.Altered():
            return replace(
                state,
                altered=with_item(state.altered, event.thing, event.gate),
                altered_at=with_item(state.altered_at, event.thing, event.at),
                last_change=event.at,
            )
        case ev.Restored():
            return replace(state, altered=without(state.altered, event.thing), last_change=event.at)
        case ev.Marked():
            return replace(state, marks=(*state.marks, event.onset))
        case ev.VerdictGiven():
            return replace(state, verdicts=with_item(state.verdicts, event.gate, event.outcome))
        case ev.Advised() | ev.TurnCalled() | ev.ScrewNamed() | ev.TurnWatched():
            return turn_told(plan, state, event)
        case ev.Turned():
            return turned(state, event)
        case ev.NotDone():
            not_done = (*_others(state.not_done, event.gate), event.gate)
            turn = state.turn
            none_made = turn is not None and turn.gate == event.gate and turn.called is None
            return replace(state, not_done=not_done, turn=None if none_made else turn)
        case ev.NoPhoto():
            return replace(state, no_photo=state.no_photo | {event.gate})
        case ev.Held():
            return replace(state, held_since=event.at)
        case ev.MoreTime():
            return replace(state, granted_until=event.until)
        case ev.CarriedOn():
            return replace(paused(state, state.held_since, event.at), held_since=None)
        case ev.RecheckBegun():
            lost = "the work was stopped" if state.owed and plan.held_by_hand(state.altered) else ""
            return replace(state, rechecks=event.items, rate_lost=lost, last_change=event.at)
        case ev.Rechecked():
            return _rechecked(plan, state, event)
        case ev.WentOut():
            return state if event.expected else replace(state, went_out=state.went_out + 1)
        case ev.Stopped():
            return stopped(plan, state, event)
        case ev.StepsBegun():
            return steps_begun(plan, state, event)
        case ev.StepReported():
            return step_reported(state, event)
        case ev.StepTakenBack():
            return step_taken_back(state, event)
        case ev.StepsOwed():
            return steps_owed(state, event)
        case ev.ReEntered():
            return re_entered(plan, state, event)
        case ev.Cleared():
            return replace(at_again(plan, state, event.gate), status="running", halt=None)
        case ev.VisitClosed():
            ended = replace(state, status="closed", question=Nothing(), until=None)
            return replace(ended, outcome=event.outcome, lacking=event.lacking)
        case ev.SettlingJudged() | ev.Alerted() | ev.Noted() | ev.AnsweredBy():
            return state
        case _:
            assert_never(event)


def _nothing_called(state: State) -> State:
    """Return the state as a new set begins: what was called, refused or doubted belonged to the one before."""
    return replace(state, pending=Pending(), pair_refused=False, pair_doubted="", rate_called=None)


def _asked(state: State, event: ev.Asked) -> State:
    interrupts = event.question.manner.interrupts and not state.question.manner.interrupts
    question, turn = event.question, state.turn
    if turn is not None and isinstance(question, TurnCheck):
        turn = replace(turn, called=(question.direction, question.eighths), challenged=0)
    return replace(
        state,
        question=question,
        text=event.text,
        attempt=event.attempt,
        asked_at=event.at,
        silent_since=event.at if event.attempt == 1 else state.silent_since,
        until=event.until,
        speaking=state.speaking or bool(event.text),
        unsaid=state.unsaid or bool(event.text),
        interrupted=Interrupted(state.question, state.text, state.until) if interrupts else state.interrupted,
        turn=turn,
    )


def _gate_passed(plan: Plan, state: State, event: ev.GatePassed) -> State:
    to = plan.move(event.gate, event.outcome)
    assert to == event.to, f"{event.outcome!r} of {event.gate} leads to {to}, not to {event.to}"
    not_done = state.not_done if event.outcome == NOT_DONE else _others(state.not_done, event.gate)
    outcomes = with_item(state.outcomes, event.gate, event.outcome)
    passed, passed_by = (*state.passed, event.gate), (*state.passed_by, event.outcome)
    return replace(state, gate=to, passed=passed, passed_by=passed_by, outcomes=outcomes, not_done=not_done)


def _others(gates: tuple[str, ...], gate: str) -> tuple[str, ...]:
    return tuple(one for one in gates if one != gate)


def _rechecked(plan: Plan, state: State, event: ev.Rechecked) -> State:
    """Return the state with one answer of a recheck; a rate that is lost is acted on when all are answered."""
    lost = state.rate_lost
    running = plan.trade.running
    if running is not None and event.item == running.asked_again and event.answer == "off":
        lost = f"the {event.item} was off"
    elif event.item == "rate" and event.answer != plan.gate(state.gate).gate.effects.rate:
        lost = lost or f"the rate called was {event.answer}"
    return replace(state, rechecks=_others(state.rechecks, event.item), rate_lost=lost)


def _accepted(state: State, event: ev.ReadingAccepted) -> State:
    taken = state.sets.get(event.kept_at, ())
    if not taken or taken[-1].number != event.number:
        taken = (*taken, ReadingSet(event.number, event.at))
    last = replace(taken[-1], values=with_item(taken[-1].values, event.reading.quantity, event.reading))
    pending = replace(
        state.pending,
        values=without(state.pending.values, event.reading.quantity),
        doubtful=tuple(q for q in state.pending.doubtful if q != event.reading.quantity),
    )
    return replace(
        state,
        sets=with_item(state.sets, event.kept_at, (*taken[:-1], last)),
        pending=pending,
        accepted=state.accepted + 1,
        last_accepted=event.reading,
    )


def _last(
    state: State, kept_at: str, change: Callable[[ReadingSet], ReadingSet]
) -> Mapping[str, tuple[ReadingSet, ...]]:
    """Return the sets with the last of those kept under a name changed."""
    taken = state.sets.get(kept_at, ())
    return with_item(state.sets, kept_at, (*taken[:-1], change(taken[-1])))
