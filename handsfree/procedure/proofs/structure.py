"""What is proven of the transitions between gates alone: reached, ending, bounded, with a way out in words."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping

from handsfree.gates.outcomes import ENDS, EXHAUSTED, FINISHED, NOT_ASKED, NOT_DONE
from handsfree.procedure.branching import deciders
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.search import (
    MOST_NODES,
    Exact,
    Guard,
    ProofFault,
    Transition,
    Violation,
    Visits,
)
from handsfree.trades.calculation import MISSING, NO_LIMIT


def unreachable(procedure: Procedure, visits: Visits) -> Iterator[Violation]:
    """Yield each gate that no visit reaches, and each bound that can never be used up."""
    for gate_id in procedure.gates:
        if gate_id not in visits:
            fault = ProofFault("reachable", f"no visit reaches {gate_id}", "lead to it, or remove it")
            yield Violation(gate_id, fault, ())


def able_to_finish(procedure: Procedure) -> set[str]:
    """Return the gates from which some visit reaches the finish, and the finish itself.

    Where facts of the sheets or answers decide ways, each combination of them is gone through.
    """
    all_deciders = dict.fromkeys(one for placed in procedure.gates.values() for one in deciders(placed))
    before = _before(procedure, Guard(deciding=tuple(all_deciders)))
    if before is None:  # too many to go through: then every written way counts
        before = _before(procedure, Guard())
        assert before is not None
    can, stack = {FINISHED}, [_END]
    reached = {_END}
    while stack:
        for place in before.get(stack.pop(), ()):
            if place not in reached:
                reached.add(place)
                can.add(place[0])
                stack.append(place)
    return can


_Place = tuple[str, Exact]
_END: _Place = (FINISHED, ((), (), (), ()))


def _before(procedure: Procedure, guard: Guard) -> dict[_Place, list[_Place]] | None:
    """Return each gate, with what is known of all that decides there -> what leads to it; None when too many."""
    before: dict[_Place, list[_Place]] = {}
    ahead: list[_Place] = [(procedure.first, start) for start in guard.starts(procedure)]
    if not guard.deciding:  # gates that nothing leads to count too
        ahead += [(gate_id, ahead[0][1]) for gate_id in procedure.gates]
    seen = set(ahead)
    while ahead:
        here = ahead.pop()
        for outcome, to in procedure.gates[here[0]].transitions.items():
            after = guard.leaving(here[1], procedure.gates[here[0]], outcome)
            if after is None or to in ENDS:
                if after is not None and to == FINISHED:
                    before.setdefault(_END, []).append(here)
                continue
            there = (to, after)
            before.setdefault(there, []).append(here)
            if there not in seen:
                if len(seen) >= MOST_NODES:
                    return None
                seen.add(there)
                ahead.append(there)
    return before


def unprovable(procedure: Procedure, visits: Visits) -> Iterator[Violation]:
    """Yield what the procedure says it is for and no visit can show before the finish."""
    can = able_to_finish(procedure)
    for number, claim in enumerate(procedure.file.proves):
        if not any(_can_show(procedure, gate_id, can) for gate_id in claim.by if gate_id in visits):
            what = f"no visit that finishes can show {claim.says!r}"
            fault = ProofFault(
                "proves",
                what,
                "lead on from one of its gates to the finish",
                ("proves", procedure.claims_at[number]),
            )
            yield Violation("", fault, ())


def _can_show(procedure: Procedure, gate_id: str, can: set[str]) -> bool:
    nothing = {NOT_ASKED, NOT_DONE, EXHAUSTED, MISSING, NO_LIMIT}
    return any(to in can for outcome, to in procedure.gates[gate_id].transitions.items() if outcome not in nothing)


def dead_ends(procedure: Procedure, visits: Visits) -> Iterator[Violation]:
    """Yield each gate from which the finish cannot be reached any more.

    Written stops are left out, and so are restores: things may be put back on the way to a stop.
    """
    can = able_to_finish(procedure)
    for gate_id in visits:
        effects = procedure.gates[gate_id].gate.effects
        if gate_id not in can and effects.end != "stop" and not effects.proves_settings:
            what = f"from {gate_id} the finish cannot be reached"
            yield Violation(
                gate_id,
                ProofFault("can-finish", what, "let it lead on, or make it a stop"),
                visits.transitions(gate_id),
            )


def unbounded(procedure: Procedure, visits: Visits) -> Iterator[Violation]:
    """Yield a loop that never ends: gates with used-up bounds leave by "exhausted", all others by any transition.

    When the transitions that remain form no circle, every visit ends: each round uses up a bound.
    """
    left: dict[str, list[Transition]] = {}
    for gate_id, placed in procedure.gates.items():
        bounded = placed.gate.at_most is not None
        left[gate_id] = [
            (outcome, to)
            for outcome, to in placed.transitions.items()
            if to not in ENDS and (outcome == EXHAUSTED) == bounded
        ]
    for circle in _circles(left):
        gate_id = circle[0]
        if gate_id not in visits:
            continue
        names = " -> ".join((*circle, gate_id))
        silent = all(procedure.gates[g].gate.at_most is not None for g in circle)
        how = "used-up bounds lead round" if silent else "nothing bounds the loop"
        fault = ProofFault(
            "bounded", f"{how}: {names}", "give one of its gates at_most, leading out when exhausted"
        )
        transitions = visits.transitions(gate_id)
        yield Violation(gate_id, fault, (*transitions, *_round(left, circle)))


def _round(left: Mapping[str, list[Transition]], circle: list[str]) -> list[Transition]:
    following = dict(zip(circle, (*circle[1:], circle[0]), strict=True))
    return [(g, next(outcome for outcome, to in left[g] if to == after)) for g, after in following.items()]


def _circles(left: Mapping[str, list[Transition]]) -> Iterator[list[str]]:
    """Yield one shortest circle for each group of gates that lead round to themselves."""
    told: set[str] = set()
    for group in components({gate_id: [to for _, to in transitions] for gate_id, transitions in left.items()}):
        inside = set(group)
        for gate_id in group:
            if gate_id in told:
                continue
            circle = _shortest_circle(left, gate_id, inside)
            if circle and not told & set(circle):
                told |= set(circle)
                yield circle


def _shortest_circle(left: Mapping[str, list[Transition]], start: str, inside: set[str]) -> list[str]:
    parent: dict[str, str] = {}
    queue = deque([start])
    while queue:
        gate_id = queue.popleft()
        for _, to in left[gate_id]:
            if to == start:
                circle = [gate_id]
                while circle[-1] != start:
                    circle.append(parent[circle[-1]])
                return circle[::-1]
            if to in inside and to not in parent:
                parent[to] = gate_id
                queue.append(to)
    return []


def components(after: Mapping[str, list[str]]) -> list[list[str]]:
    """Return the groups of gates that reach one another (Tarjan's strongly connected components, iterative)."""
    number: dict[str, int] = {}
    low: dict[str, int] = {}
    path: list[str] = []
    on_path: set[str] = set()
    groups: list[list[str]] = []
    for root in after:
        if root in number:
            continue
        work = [(root, iter(after[root]))]
        number[root] = low[root] = len(number)
        path.append(root)
        on_path.add(root)
        while work:
            gate_id, rest = work[-1]
            for to in rest:
                if to not in number:
                    number[to] = low[to] = len(number)
                    path.append(to)
                    on_path.add(to)
                    work.append((to, iter(after[to])))
                    break
                if to in on_path:
                    low[gate_id] = min(low[gate_id], number[to])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[gate_id])
                if low[gate_id] == number[gate_id]:
                    at = path.index(gate_id)
                    groups.append(path[at:])
                    on_path -= set(path[at:])
                    del path[at:]
    return groups
