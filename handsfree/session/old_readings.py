"""Readings from before a long pause: what is taken again before anything rests on it, and from which gate on.

No turn is advised by what was read before a long stop, hold or interruption: what runs may have cycled. A verdict
bears a hold, which changes nothing by itself; but who stood under an order to switch off for minutes may have
begun to obey it. So what a verdict judges is read again where it says how things stand now: where nothing but the
rate was altered, put back or turned since it was read, and the same rate not read anew. What was read before tells
how it was then, and stands. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from handsfree.events.state import State
from handsfree.gates.outcomes import DROPPED_BACK
from handsfree.session.plan import Plan


def before(state: State, kept_at: str, until: int) -> bool:
    """Say whether the last whole set of a measurement point was taken before a time, in ms of the visit."""
    taken = state.readings(kept_at)
    return bool(taken) and taken[-1].at < until


def judged(plan: Plan, state: State, kept_at: Iterable[str]) -> tuple[str, ...]:
    """Return the measurement points that a verdict must not judge as they are, in the order of their readings."""
    old = {one for one in kept_at if before(state, one, state.stopped_before)}
    found: list[str] = []
    read: set[str | None] = set()
    for gate_id in reversed(state.passed if old else ()):
        effects = plan.gate(gate_id).gate.effects
        if effects.kept_at in old and effects.rate not in read:
            found.insert(0, effects.kept_at)
        if effects.kept_at:
            old.discard(effects.kept_at)
            read |= {effects.rate} - {None}
        changed = {*effects.alters, *effects.restores} - plan.rate_things
        if changed or effects.turns is not None:
            break
    return tuple(found)


def taken_from(plan: Plan, asked: Sequence[str], kept_at: str) -> str | None:
    """Return where to go back to for new readings: where their rate is held, else the gate that takes them.

    `asked` are the gates passed that were asked; None where none of them took the readings.
    """
    reading = [one for one in asked if plan.gate(one).gate.effects.kept_at == kept_at]
    if not reading:
        return None
    held = plan.gate(reading[-1]).transitions.get(DROPPED_BACK, reading[-1])
    return held if held in asked else reading[-1]


def hold_ran_out(plan: Plan, state: State) -> bool:
    """Say whether the appliance has let go of the held rate by itself, by the maker's time."""
    minutes, back = plan.sheets.appliance.hold_minutes, plan.gate(state.gate).transitions.get(DROPPED_BACK)
    if minutes is None or back is None:
        return False
    begun = [state.altered_at[thing] for thing in plan.gate(back).gate.effects.alters if thing in state.altered]
    return bool(begun) and state.now - max(begun) >= 60_000 * minutes
