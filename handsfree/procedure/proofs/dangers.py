"""What a changed procedure makes possible that was impossible before, told without any proof's opinion.

A proof says what is wrong with one procedure. Two procedures can also be held against each other: the old one
is taken as meant, and everything it ruled out that the new one allows is a danger to be looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from handsfree.gates.block import GateBlock
from handsfree.gates.outcomes import ENDS, FINISHED, NOT_ASKED, NOT_DONE
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.monitors import after_thing
from handsfree.procedure.proofs.search import Monitor, explore
from handsfree.procedure.proofs.structure import able_to_finish, components


@dataclass(frozen=True)
class Followed(Monitor):
    """One thing as the transitions alone leave it, needs asked or not."""

    name: str
    start: Any = False

    def leave(self, placed: PlacedGate, outcome: str, state: Any) -> Any:
        """Follow the thing."""
        return after_thing(placed, outcome, self.name, bool(state))


def dangers(old: Procedure, new: Procedure) -> tuple[str, ...]:
    """Return, as sentences, what the new procedure allows that the old one ruled out."""
    found: list[str] = []
    found += _thing_states(old, new)
    found += _lost_stops(old, new)
    found += _lost_steps(old, new)
    found += _lost_guards(old, new)
    return tuple(dict.fromkeys(found))


def _thing_states(old: Procedure, new: Procedure) -> Iterator[str]:
    for name, thing in old.things.items():
        if name not in new.things:
            yield f"{name} is not followed any more"
            continue
        before, after = explore(old, Followed(name)).states, explore(new, Followed(name)).states
        for gate_id, states in after.items():
            placed = old.gates.get(gate_id)
            if placed is None or not _acts(placed):
                continue
            for state in states - before.get(gate_id, states):
                yield f"{gate_id} can be entered with {name} {thing.altered if state else thing.restored}"


def _acts(placed: PlacedGate) -> bool:
    """Say whether work is done at a gate, so that the state of things matters there."""
    effects = placed.gate.effects
    return not (effects.proves_settings or effects.judges or effects.end == "stop")


def _lost_stops(old: Procedure, new: Procedure) -> Iterator[str]:
    could, can = able_to_finish(old), able_to_finish(new)
    for gate_id, placed in old.gates.items():
        now = new.gates.get(gate_id)
        for outcome, to in placed.transitions.items() if now is not None else ():
            leads = now.transitions.get(outcome) if now is not None else None
            if to not in could and leads in can:
                yield f'{gate_id} on "{outcome}" stopped the visit and now leads on to {leads}'


def unavoidable(procedure: Procedure) -> set[str]:
    """Return the gates that every finished visit has been asked."""
    reached = {g for g in _reachable(procedure) if NOT_ASKED not in procedure.gates[g].transitions}
    return {g for g in reached if FINISHED not in _forward(procedure, without=g)}


def _forward(procedure: Procedure, without: str) -> set[str]:
    if procedure.first == without:
        return set()
    seen, stack = {procedure.first}, [procedure.first]
    while stack:
        for to in procedure.gates[stack.pop()].transitions.values():
            if to not in seen and to != without:
                seen.add(to)
                if to in procedure.gates:
                    stack.append(to)
    return seen


def _reachable(procedure: Procedure) -> set[str]:
    return _forward(procedure, without="") & set(procedure.gates)


def _lost_steps(old: Procedure, new: Procedure) -> Iterator[str]:
    kept = unavoidable(new)
    for gate_id in sorted(unavoidable(old) - kept):
        if old.gates[gate_id].gate.effects.end == "finish":
            continue
        yield f"a visit can finish without {gate_id}"
    for gate_id in old.gates:
        if gate_id not in new.gates and old.gates[gate_id].gate.effects.end != "stop":
            yield f"{gate_id} is gone"


def _lost_guards(old: Procedure, new: Procedure) -> Iterator[str]:
    groups = components({g: [to for to in p.transitions.values() if to not in ENDS] for g, p in new.gates.items()})
    round_again = {gate_id for group in groups if len(group) > 1 for gate_id in group}
    for gate_id, placed in old.gates.items():
        now = new.gates.get(gate_id)
        if now is None or type(now.gate) is not type(placed.gate):
            continue
        was, is_now = placed.gate, now.gate
        for name in was.needs:
            if is_now.needs.get(name) != was.needs[name]:
                yield f"{gate_id} no longer needs {name} {was.needs[name]}"
        if was.firing and not is_now.firing and was.effects.end != "stop":
            yield f"silence at {gate_id} is no alarm any more"
        if NOT_DONE in now.transitions and NOT_DONE not in placed.transitions:
            yield f'{gate_id} can be passed by "not done"'
        if gate_id in round_again and _bound(is_now) > _bound(was):
            yield f"{gate_id} may be entered more often"
        if was.source and not is_now.source:
            yield f"{gate_id} has lost its source"
        yield from (f"{gate_id} {what}" for what in is_now.lost(was))


def _bound(gate: GateBlock) -> float:
    return gate.at_most if gate.at_most is not None else float("inf")
