"""How the events of a stop change the state of a visit: for `apply` alone."""

from __future__ import annotations

from types import MappingProxyType
from typing import assert_never

from handsfree.events import decisions as ev
from handsfree.events.replacing import replace, with_item
from handsfree.events.state import Halt, Pending, State
from handsfree.gates.outcomes import STOPPED
from handsfree.session.plan import Plan

LONG_PAUSE_MS = 120_000
"""A stop, a hold or an interruption longer than this: what ran, and what was read of it, may have changed."""


def paused(state: State, since: int | None, until: int) -> State:
    """Return the state after a pause: what was read before a long one may not hold any more."""
    long = since is not None and until - since > LONG_PAUSE_MS
    return replace(state, old_before=until) if long else state


def _stood_still(state: State, since: int, until: int) -> State:
    """Return the state after a stop: under the order of a long one somebody may have switched something off."""
    waited = paused(state, since, until)
    return waited if waited is state else replace(waited, stopped_before=until)


def at_again(plan: Plan, state: State, gate: str) -> State:
    """Return the state at the gate where a stopped visit goes on."""
    back = gate != state.gate and gate in state.passed
    return replace(back_at(state, gate) if back else state, gate=plan.again(gate))


def back_at(state: State, to: str) -> State:
    """Return the state back at a gate passed before: the verdicts and answers given since are open again."""
    passed = state.passed[: len(state.passed) - 1 - state.passed[::-1].index(to)]
    passed_by = state.passed_by[: len(passed)]
    verdicts = MappingProxyType({gate: outcome for gate, outcome in state.verdicts.items() if gate in passed})
    outcomes = MappingProxyType(dict(zip(passed, passed_by, strict=True)))  # of those of one gate the last stands
    return replace(state, gate=to, passed=passed, passed_by=passed_by, outcomes=outcomes, verdicts=verdicts)


def stopped(plan: Plan, state: State, event: ev.Stopped) -> State:
    """Return the state under an order: what was being called or asked again is dropped."""
    assert plan.stop(state.gate) == STOPPED
    called = tuple(reading.quantity for reading in event.called)
    halt = Halt(event.hazards, event.script, event.people, event.ways, called=called)
    state = replace(state, pending=Pending(), held_since=None, rechecks=())
    return replace(state, status="stopped", stopped_at=event.at, halt=halt)


def steps_begun(plan: Plan, state: State, event: ev.StepsBegun) -> State:
    """Return the state as steps are walked; on the way down the things to report are counted out."""
    halt = state.halt or Halt(state.owed_for, "", "stay")
    walking = replace(halt, part=event.part, left=event.steps, how=event.how, taken=0, read={}, before=None)
    if event.part == "way-down":
        walking = replace(walking, things=plan.put_back_when_stopped(state.altered), stays_open=False)
    return replace(state, status="stopped", halt=walking)


def step_reported(state: State, event: ev.StepReported) -> State:
    """Return the state with one answer after a stop: on to the next step, or what it leads to."""
    return replace(state, halt=_reported(state.halt, event))


def _reported(halt: Halt | None, event: ev.StepReported) -> Halt:
    assert halt is not None, "a step is reported, but nothing was stopped"
    assert halt.left, "a step is reported that was not asked"
    assert halt.left[0] == event.step, f"{event.step} is reported, but {halt.left[0]} was asked"
    things = tuple(thing for thing in halt.things if thing != event.thing)
    before = None if event.leads == "off" else halt  # what refused the way back in stands
    halt = replace(halt, things=things, stays_open=halt.stays_open or event.stays_open, before=before)
    read = halt.read if event.reading is None else with_item(halt.read, event.reading.quantity, event.reading)
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


def step_taken_back(state: State, event: ev.StepTakenBack) -> State:
    """Return the state before the last answer after a stop."""
    assert state.halt is not None, "an answer is taken back, but nothing was stopped"
    assert state.halt.before is not None, "an answer is taken back, but none was given"
    assert state.halt.before.left[0] == event.step, "not the last answer is taken back"
    return replace(state, halt=state.halt.before)


def steps_owed(state: State, event: ev.StepsOwed) -> State:
    """Return the state with steps that are owed before anything fires, each once."""
    owed = tuple(dict.fromkeys((*state.owed, *event.steps)))
    return replace(state, owed=owed, owed_for=tuple(dict.fromkeys((*state.owed_for, *event.hazards))))


def re_entered(plan: Plan, state: State, event: ev.ReEntered) -> State:
    """Return the state as the work goes on; a stop that was real is remembered, and what is owed stays owed."""
    halt = state.halt
    assert halt is not None, "the visit comes back, but nothing was stopped"
    halted_at = event.at if state.stopped_at is None else state.stopped_at
    real = frozenset(halt.hazards) if event.how == "walked" else frozenset()
    misheard = frozenset({state.gate}) if event.how == "misheard" else frozenset()
    return replace(
        _stood_still(at_again(plan, state, event.gate), halted_at, event.at),
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
