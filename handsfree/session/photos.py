"""Which photos may come now: those that gates want; never while firing, nor with a hazard open."""

from __future__ import annotations

from handsfree.events.state import State
from handsfree.gates.outcomes import EXHAUSTED, NOT_ASKED
from handsfree.session.plan import Plan

MOST_AT_A_GATE = 3
"""Photos that a gate takes: the first may be blurred."""
MOST_OF_A_VISIT = 40


def wanted(plan: Plan, state: State) -> tuple[str, ...]:
    """Return the gates whose photo may come now: the one at hand, then those left without one, the last first."""
    if not state.photos_wanted or state.status != "running" or state.held_since is not None or state.alarmed:
        return ()
    if plan.gate(state.gate).gate.firing or state.owed or sum(state.photos.values()) >= MOST_OF_A_VISIT:
        return ()
    passed_over = {gate for gate, outcome in state.outcomes.items() if outcome in {NOT_ASKED, EXHAUSTED}}
    closed = state.no_photo | (passed_over - {state.gate})
    gates = [gate for gate in reversed(tuple(state.entered)) if plan.gate(gate).gate.photo and gate not in closed]
    here = [state.gate] if state.gate in gates and state.photos.get(state.gate, 0) < MOST_AT_A_GATE else []
    return (*here, *(gate for gate in gates if gate != state.gate and gate not in state.photos))
