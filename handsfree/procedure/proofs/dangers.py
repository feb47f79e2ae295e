"""What a changed procedure makes possible that was impossible before, told without any proof's opinion.

A proof says what is wrong with one procedure. Two procedures can also be held against each other: the old one
is taken as meant, and everything it ruled out that the new one allows is a danger to be looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from handsfree.procedure.model import (
    AdjustGate,
    ConfirmGate,
    FinishGate,
    GateBlock,
    ReadingsGate,
    RestoreGate,
    StopGate,
    TimedGate,
    VerdictGate,
)
from handsfree.procedure.procedure import ENDS, FINISHED, NOT_DONE, PlacedGate, Procedure
from handsfree.procedure.proofs.search import Watch, explore
from handsfree.procedure.proofs.structure import able_to_finish, components
from handsfree.procedure.proofs.watches import after_thing


@dataclass(frozen=True)
class Followed(Watch):
    """One thing as the ways alone leave it, needs asked or not."""

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
            if placed is None or isinstance(placed.gate, RestoreGate | StopGate | VerdictGate):
                continue
            for state in states - before.get(gate_id, states):
                yield f"{gate_id} can be entered with {name} {thing.altered if state else thing.restored}"


def _lost_stops(old: Procedure, new: Procedure) -> Iterator[str]:
    could, can = able_to_finish(old), able_to_finish(new)
    for gate_id, placed in old.gates.items():
        now = new.gates.get(gate_id)
        for outcome, to in placed.ways.items() if now is not None else ():
            leads = now.ways.get(outcome) if now is not None else None
            if to not in could and leads in can:
                yield f'{gate_id} on "{outcome}" stopped the visit and now leads on to {leads}'


def unavoidable(procedure: Procedure) -> set[str]:
    """Return the gates that every finished visit has passed."""
    reached = _reachable(procedure)
    return {g for g in reached if FINISHED not in _forward(procedure, without=g)}


def _forward(procedure: Procedure, without: str) -> set[str]:
    if procedure.first == without:
        return set()
    seen, stack = {procedure.first}, [procedure.first]
    while stack:
        for to in procedure.gates[stack.pop()].ways.values():
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
        if isinstance(old.gates[gate_id].gate, FinishGate):
            continue
        yield f"a visit can finish without {gate_id}"
    for gate_id in old.gates:
        if gate_id not in new.gates and not isinstance(old.gates[gate_id].gate, StopGate):
            yield f"{gate_id} is gone"


def _lost_guards(old: Procedure, new: Procedure) -> Iterator[str]:
    groups = components({g: [to for to in p.ways.values() if to not in ENDS] for g, p in new.gates.items()})
    round_again = {gate_id for group in groups if len(group) > 1 for gate_id in group}
    for gate_id, placed in old.gates.items():
        now = new.gates.get(gate_id)
        if now is None or type(now.gate) is not type(placed.gate):
            continue
        was, is_now = placed.gate, now.gate
        for name in was.needs:
            if is_now.needs.get(name) != was.needs[name]:
                yield f"{gate_id} no longer needs {name} {was.needs[name]}"
        if was.firing and not is_now.firing and not isinstance(was, StopGate):
            yield f"silence at {gate_id} is no alarm any more"
        if NOT_DONE in now.ways and NOT_DONE not in placed.ways:
            yield f'{gate_id} can be passed by "not done"'
        if gate_id in round_again and _bound(is_now) > _bound(was):
            yield f"{gate_id} may be entered more often"
        if was.source and not is_now.source:
            yield f"{gate_id} has lost its source"
        yield from _lost_evidence(gate_id, was, is_now)


def _bound(gate: GateBlock) -> float:
    return gate.at_most if gate.at_most is not None else float("inf")


def _lost_readings(gate_id: str, was: ReadingsGate, now: ReadingsGate) -> Iterator[str]:
    if was.captures != now.captures:
        yield f"{gate_id} no longer keeps {was.captures} as found"
    if was.settle is not None and now.settle is None:
        yield f"{gate_id} no longer waits until readings have settled"
    elif was.settle is not None and now.settle is not None:
        for name in ("wait_seconds", "sets", "apart_seconds"):
            if getattr(now.settle, name) < getattr(was.settle, name):
                yield f"{gate_id} proves less of settling: {name}"
    if was.rate != now.rate:
        yield f"{gate_id} is read at another rate"
    yield from _not_in(gate_id, "asks for", [a.quantity for a in was.ask], [a.quantity for a in now.ask])


def _lost_evidence(gate_id: str, was: GateBlock, now: GateBlock) -> Iterator[str]:
    if isinstance(was, ReadingsGate) and isinstance(now, ReadingsGate):
        yield from _lost_readings(gate_id, was, now)
    elif isinstance(was, TimedGate) and isinstance(now, TimedGate):
        if now.least_seconds < was.least_seconds:
            yield f"{gate_id} takes a coarser time"
    elif isinstance(was, VerdictGate) and isinstance(now, VerdictGate):
        if (was.calculation, was.rate, was.using) != (now.calculation, now.rate, now.using):
            yield f"{gate_id} judges something else"
    elif isinstance(was, AdjustGate) and isinstance(now, AdjustGate):
        if (was.rate, was.using) != (now.rate, now.using):
            yield f"{gate_id} turns on something else"
    elif isinstance(was, ConfirmGate) and isinstance(now, ConfirmGate):
        yield from _not_in(gate_id, "alters", was.alters, now.alters)
    elif isinstance(was, StopGate) and isinstance(now, StopGate) and was.script != now.script:
        yield f"{gate_id} says something else"


def _not_in(gate_id: str, verb: str, was: Iterable[str], now: Iterable[str]) -> Iterator[str]:
    for name in was:
        if name not in set(now):
            yield f"{gate_id} no longer {verb} {name}"
