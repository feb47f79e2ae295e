"""The way that a visit will likely take from here: every answer good, every verdict within, all of it done."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.events.state import State
from handsfree.gates.branch import OTHERWISE
from handsfree.gates.outcomes import DONE, ENDS, EXHAUSTED, NOT_ASKED, NOT_DONE
from handsfree.gates.when import NOT_COME_TO
from handsfree.procedure.branching import followed
from handsfree.procedure.procedure import PlacedGate
from handsfree.session import deciding
from handsfree.session.plan import Plan
from handsfree.trades.calculation import MISSING, NO_LIMIT, WITHIN


def gates_left(plan: Plan, state: State) -> int:
    """Return how many gates will likely still ask something, the one at hand among them."""
    return sum(1 for _ in _asking(plan, state))


def _asking(plan: Plan, state: State) -> Iterator[str]:
    """Yield the gates on the likely way that ask; a gate is passed once, so that a loop ends."""
    gate_id, altered, seen = state.gate, set(state.altered), set[str]()
    while gate_id not in ENDS and gate_id not in seen:
        seen.add(gate_id)
        placed = plan.gate(gate_id)
        if gate_id != state.gate and _passed_over(plan, state, placed):
            gate_id = placed.transitions[NOT_ASKED]
            continue
        effects, decider = placed.gate.effects, followed(placed)
        if effects.follows is not None and decider is not None:  # a branch asks nothing
            is_now = deciding.known(plan, state, decider)
            gate_id = placed.transitions[is_now if is_now in effects.follows.values else OTHERWISE]
            continue
        decides = effects.judges is not None or effects.end == "stop"
        nothing_to_restore = effects.proves_settings and altered.isdisjoint(effects.restores)
        if not decides and not nothing_to_restore:
            yield gate_id
        altered = (altered - set(effects.restores)) | set(effects.alters)
        gate_id = _next(plan, gate_id)


def _passed_over(plan: Plan, state: State, placed: PlacedGate) -> bool:
    """Say whether a gate will not be asked; what a gate ahead decides is open, and counts for its being asked."""
    against = deciding.against(plan, state, placed)
    return any(is_now != NOT_COME_TO for _, is_now in against)


def _next(plan: Plan, gate_id: str) -> str:
    """Return where a gate likely leads: its first answer that leads on, done, within, or what else leads on."""
    placed = plan.gate(gate_id)
    answered = [plan.led_to(gate_id, name) for name in placed.gate.phrases if name in placed.transitions]
    sure = [placed.transitions[name] for name in (WITHIN, DONE) if name in placed.transitions]
    unlikely = {NOT_ASKED, NOT_DONE, EXHAUSTED, MISSING, NO_LIMIT}
    others = [to for outcome, to in placed.transitions.items() if outcome not in unlikely]
    ways = [*sure, *answered, *others]
    on = (to for to in ways if to in ENDS or plan.gate(to).gate.effects.end != "stop")
    return next(on, ENDS[0])
