"""`apply`: how each event changes the state of a visit. Nothing else ever changes it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import TypeVar, assert_never

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event
from handsfree.events.replacing import replace
from handsfree.events.state import (
    AdjusterTurned,
    Halt,
    Interrupted,
    OpenTurn,
    Pending,
    ReadingSet,
    Settled,
    State,
    ValueKept,
)
from handsfree.gates.outcomes import NOT_DONE, STOPPED
from handsfree.lexicon.meaning import NO_READING
from handsfree.questions.nothing import Nothing
from handsfree.questions.turn_check import TurnCheck
from handsfree.session.plan import Plan

LONG_PAUSE_MS = 120_000
"""A stop, a hold or an interruption longer than this: what ran, and what was read of it, may have changed."""

Key = TypeVar("Key")
Item = TypeVar("Item")


def after(plan: Plan, state: State, events: Iterable[Event]) -> State:
    """Return the state after the events."""
    for event in events:
        state = apply(plan, state, event)
    return state


def _with(mapping: Mapping[Key, Item], key: Key, value: Item) -> Mapping[Key, Item]:
    return MappingProxyType({**mapping, key: value})


def _without(mapping: Mapping[Key, Item], key: Key) -> Mapping[Key, Item]:
    return MappingProxyType({k: v for k, v in mapping.items() if k != key})


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
            return replace(state, now=event.at, lost=state.lost | {event.device})
        case inp.DeviceFound():
            return replace(state, now=event.at, lost=state.lost - {event.device})
        case inp.Resumed():
            return replace(
                _paused(state, state.now, event.at),
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
            photos = _with(state.photos, event.gate, state.photos.get(event.gate, 0) + 1)
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
            entered = _with(state.entered, event.gate, state.entered.get(event.gate, 0) + 1)
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
            at, doubted = event.at, state.pair_doubted
            sets = _last(state, event.kept_at, lambda one: replace(one, complete=True, at=at, doubted=doubted))
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
                state.settled.get(event.kept_at, MappingProxyType({})),
                event.reading.quantity,
                Settled(event.reading, Decimal(event.uncertainty)),
            )
            kept = ValueKept(event.kept_at, event.reading.quantity, Decimal(event.reading.value))
            history = (*state.history, kept)
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
        case ev.Advised() | ev.TurnCalled() | ev.ScrewNamed() | ev.TurnWatched():
            return _turn_told(plan, state, event)
        case ev.Turned():
            return _turned(state, event)
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
            return replace(_paused(state, state.held_since, event.at), held_since=None)
        case ev.RecheckBegun():
            lost = "the work was stopped" if state.owed and plan.held_by_hand(state.altered) else ""
            return replace(state, rechecks=event.items, rate_lost=lost, last_change=event.at)
        case ev.Rechecked():
            return _rechecked(plan, state, event)
        case ev.WentOut():
            return state if event.expected else replace(state, went_out=state.went_out + 1)
        case ev.Stopped():
            assert plan.stop(state.gate) == STOPPED
            halt = Halt(
                event.hazards,
                event.script,
                event.people,
                event.ways,
                called=tuple(reading.quantity for reading in event.called),
            )
            return replace(
                state,
                status="stopped",
                pending=Pending(),
                held_since=None,
                rechecks=(),
                stopped_at=event.at,
                halt=halt,
            )
        case ev.StepsBegun():
            halt = state.halt or Halt(state.owed_for, "", "stay")
            walking = replace(
                halt, part=event.part, left=event.steps, how=event.how, taken=0, read={}, before=None
            )
            if event.part == "way-down":
                walking = replace(walking, things=plan.put_back_when_stopped(state.altered), stays_open=False)
            return replace(state, status="stopped", halt=walking)
        case ev.StepReported():
            return replace(state, halt=_reported(state.halt, event))
        case ev.StepTakenBack():
            assert state.halt is not None, "an answer is taken back, but nothing was stopped"
            assert state.halt.before is not None, "an answer is taken back, but none was given"
            assert state.halt.before.left[0] == event.step, "not the last answer is taken back"
            return replace(state, halt=state.halt.before)
        case ev.StepsOwed():
            owed = tuple(dict.fromkeys((*state.owed, *event.steps)))
            return replace(state, owed=owed, owed_for=tuple(dict.fromkeys((*state.owed_for, *event.hazards))))
        case ev.ReEntered():
            return _re_entered(plan, state, event)
        case ev.Cleared():
            return replace(_at_again(plan, state, event.gate), status="running", halt=None)
        case ev.VisitClosed():
            ended = replace(state, status="closed", question=Nothing(), until=None)
            return replace(ended, outcome=event.outcome, lacking=event.lacking)
        case ev.SettlingJudged() | ev.Alerted() | ev.Noted() | ev.AnsweredBy():
            return state
        case _:
            assert_never(event)


def _paused(state: State, since: int | None, until: int) -> State:
    """Return the state after a pause: what was read before a long one may not hold any more."""
    long = since is not None and until - since > LONG_PAUSE_MS
    return replace(state, old_before=until) if long else state


def _stood_still(state: State, since: int, until: int) -> State:
    """Return the state after a stop: under the order of a long one somebody may have switched something off."""
    paused = _paused(state, since, until)
    return paused if paused is state else replace(paused, stopped_before=until)


def _at_again(plan: Plan, state: State, gate: str) -> State:
    """Return the state at the gate where a stopped visit goes on."""
    back = gate != state.gate and gate in state.passed
    return replace(_back_at(state, gate) if back else state, gate=plan.again(gate))


def _reported(halt: Halt | None, event: ev.StepReported) -> Halt:
    assert halt is not None, "a step is reported, but nothing was stopped"
    assert halt.left, "a step is reported that was not asked"
    assert halt.left[0] == event.step, f"{event.step} is reported, but {halt.left[0]} was asked"
    things = tuple(thing for thing in halt.things if thing != event.thing)
    before = None if event.leads == "off" else halt  # what refused the way back in stands
    halt = replace(halt, things=things, stays_open=halt.stays_open or event.stays_open, before=before)
    read = halt.read if event.reading is None else _with(halt.read, event.reading.quantity, event.reading)
    match event.leads:
        case "on":
            return replace(halt, left=halt.left[1:], taken=0, read=read)
        case "more":
            return replace(halt, taken=halt.taken + 1, read=read)
        case "again":
            return replace(halt, taken=0)
        case "off":
            return replace(halt, left=(), taken=0, ways=("close",))
        case leads:
            assert_never(leads)


def _re_entered(plan: Plan, state: State, event: ev.ReEntered) -> State:
    halt = state.halt
    assert halt is not None, "the visit comes back, but nothing was stopped"
    halted_at = event.at if state.stopped_at is None else state.stopped_at
    real = frozenset(halt.hazards) if event.how == "walked" else frozenset()
    misheard = frozenset({state.gate}) if event.how == "misheard" else frozenset()
    return replace(
        _stood_still(_at_again(plan, state, event.gate), halted_at, event.at),
        status="running",
        # What was waited for may have been switched off meanwhile: the time of the stop never counts, and after a
        # real one the wait begins anew.
        entered_at=state.entered_at + event.at - halted_at if event.how == "false-stop" else event.at,
        halt=None,
        owed=event.owed,
        owed_for=halt.hazards if event.owed else (),
        stopped_by=state.stopped_by | real,
        misheard_at=state.misheard_at | misheard,
    )


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


def _turn_told(
    plan: Plan, state: State, event: ev.Advised | ev.TurnCalled | ev.ScrewNamed | ev.TurnWatched
) -> State:
    """Return the state with what is known of the turn at hand."""
    if isinstance(event, ev.Advised):
        turning = plan.gate(event.gate).gate.effects.turns
        if turning is None or event.direction not in {"clockwise", "counter-clockwise"}:
            return replace(state, turn=None)
        direction: ev.Direction = "clockwise" if event.direction == "clockwise" else "counter-clockwise"
        return replace(state, turn=OpenTurn(event.gate, turning.rate, direction, event.eighths, turning.rate))
    turn = state.turn
    assert turn is not None, "a turn is told that nothing asked for"
    match event:
        case ev.TurnCalled():
            called, challenged = (event.direction, event.eighths), turn.challenged + bool(event.eighths)
            turn = replace(turn, called=called, challenged=challenged, unanswered=not event.eighths)
            return replace(state, turn=turn)
        case ev.ScrewNamed():
            screw = event.rate
            history = state.history
            if turn.owed:  # nothing was learned since it was turned
                last = history[-1]
                assert isinstance(last, AdjusterTurned)
                history = (*history[:-1], replace(last, rate=screw))
            unlike_now = turn.called is not None and not turn.owed  # what was called before was on the wrong one
            challenged = max(turn.challenged, 1) if unlike_now else turn.challenged
            turn = replace(turn, screw=screw, named=True, challenged=challenged)
            return replace(state, turn=turn, history=history)
        case ev.TurnWatched():
            nothing = event.reading.value == NO_READING
            return replace(state, turn=replace(turn, watched=not nothing, unanswered=nothing))
        case _:
            assert_never(event)


def _turned(state: State, event: ev.Turned) -> State:
    """Return the state with a turn that counts: part of the history, and to be undone when it was not as asked."""
    turned = AdjusterTurned(event.rate, event.direction, event.eighths, event.at)
    turn = state.turn
    if turn is not None:
        owed = turn.owed + (event.eighths if event.direction == "clockwise" else -event.eighths)
        open_still = bool(event.unlike or event.undoes) and owed != 0
        turn = (
            replace(
                turn,
                owed=owed,
                called=(event.direction, event.eighths),
                challenged=0,
                unanswered=False,
                watched=turn.watched and not event.unlike,
            )
            if open_still
            else None
        )
    return replace(state, history=(*state.history, turned), last_change=event.at, turn=turn)


def _gate_passed(plan: Plan, state: State, event: ev.GatePassed) -> State:
    to = plan.move(event.gate, event.outcome)
    assert to == event.to, f"{event.outcome!r} of {event.gate} leads to {to}, not to {event.to}"
    not_done = state.not_done if event.outcome == NOT_DONE else _others(state.not_done, event.gate)
    outcomes = _with(state.outcomes, event.gate, event.outcome)
    passed, passed_by = (*state.passed, event.gate), (*state.passed_by, event.outcome)
    return replace(state, gate=to, passed=passed, passed_by=passed_by, outcomes=outcomes, not_done=not_done)


def _others(gates: tuple[str, ...], gate: str) -> tuple[str, ...]:
    return tuple(one for one in gates if one != gate)


def _back_at(state: State, to: str) -> State:
    """Return the state back at a gate passed before: the verdicts and answers given since are open again."""
    passed = state.passed[: len(state.passed) - 1 - state.passed[::-1].index(to)]
    passed_by = state.passed_by[: len(passed)]
    verdicts = MappingProxyType({gate: outcome for gate, outcome in state.verdicts.items() if gate in passed})
    outcomes = MappingProxyType(dict(zip(passed, passed_by, strict=True)))  # of those of one gate the last stands
    return replace(state, gate=to, passed=passed, passed_by=passed_by, outcomes=outcomes, verdicts=verdicts)


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


def _last(
    state: State, kept_at: str, change: Callable[[ReadingSet], ReadingSet]
) -> Mapping[str, tuple[ReadingSet, ...]]:
    """Return the sets with the last of those kept under a name changed."""
    taken = state.sets.get(kept_at, ())
    return _with(state.sets, kept_at, (*taken[:-1], change(taken[-1])))
