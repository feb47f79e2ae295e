"""What is proven of the ways between gates alone: reached, ending, bounded, with a way out in words."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping

from handsfree.procedure.model import (
    AdjustGate,
    ChoiceGate,
    ConfirmGate,
    FinishGate,
    ReadingsGate,
    RestoreGate,
    StopGate,
    TimedGate,
    VerdictGate,
)
from handsfree.procedure.procedure import ENDS, EXHAUSTED, FINISHED, NOT_DONE, PlacedGate, Procedure
from handsfree.procedure.proofs.search import Fault, Violation, Watch, Way, generated, violations

Ways = Mapping[str, tuple[tuple[str, str], ...]]
"""Gate -> (outcome, target)."""


class ReachWatch(Watch):
    """Remembers nothing and reports each gate that is entered: used to find out which really are."""

    def enter(self, placed: PlacedGate, state: object) -> tuple[Fault, ...]:
        """Report the gate."""
        del state
        return (Fault("reached", placed.id),)


def reached(procedure: Procedure) -> dict[str, Violation]:
    """Return the gates that some visit enters, each with a shortest visit."""
    return {found.gate: found for found in violations(procedure, ReachWatch())}


def unreachable(procedure: Procedure, visits: Mapping[str, Violation]) -> Iterator[Violation]:
    """Yield each gate that no visit reaches, and each bound that can never be used up."""
    for gate_id in procedure.gates:
        if gate_id not in visits:
            fault = Fault("reachable", f"no visit reaches {gate_id}", "lead to it, or remove it")
            yield Violation(gate_id, fault, ())


def dead_ends(procedure: Procedure, visits: Mapping[str, Violation]) -> Iterator[Violation]:
    """Yield each gate from which the finish cannot be reached any more, written stops aside."""
    before: dict[str, list[str]] = {}
    for gate_id, placed in procedure.gates.items():
        for to in placed.ways.values():
            before.setdefault(to, []).append(gate_id)
    can, stack = {FINISHED}, [FINISHED]
    while stack:
        for gate_id in before.get(stack.pop(), ()):
            if gate_id not in can:
                can.add(gate_id)
                stack.append(gate_id)
    for gate_id, visit in visits.items():
        if gate_id not in can and not isinstance(procedure.gates[gate_id].gate, StopGate):
            what = f"from {gate_id} the finish cannot be reached"
            yield Violation(gate_id, Fault("can-finish", what, "let it lead on, or make it a stop"), visit.ways)


def unbounded(procedure: Procedure, visits: Mapping[str, Violation]) -> Iterator[Violation]:
    """Yield a loop that never ends: gates with used-up bounds leave by "exhausted", all others by any way.

    When the ways that remain form no circle, every visit ends: each round uses up a bound.
    """
    left: dict[str, list[Way]] = {}
    for gate_id, placed in procedure.gates.items():
        bounded = placed.gate.at_most is not None
        left[gate_id] = [
            (outcome, to)
            for outcome, to in placed.ways.items()
            if to not in ENDS and (outcome == EXHAUSTED) == bounded
        ]
    for circle in _circles(left):
        gate_id = circle[0]
        if gate_id not in visits:
            continue
        names = " -> ".join((*circle, gate_id))
        silent = all(procedure.gates[g].gate.at_most is not None for g in circle)
        how = "used-up bounds lead round" if silent else "nothing bounds the loop"
        fault = Fault("bounded", f"{how}: {names}", "give one of its gates at_most, leading out when exhausted")
        ways = visits[gate_id].ways
        yield Violation(gate_id, fault, (*ways, *_round(left, circle)))


def _round(left: Mapping[str, list[Way]], circle: list[str]) -> list[Way]:
    following = dict(zip(circle, (*circle[1:], circle[0]), strict=True))
    return [(g, next(outcome for outcome, to in left[g] if to == after)) for g, after in following.items()]


def _circles(left: Mapping[str, list[Way]]) -> Iterator[list[str]]:
    """Yield one shortest circle for each group of gates that lead round to themselves."""
    told: set[str] = set()
    for group in components({gate_id: [to for _, to in ways] for gate_id, ways in left.items()}):
        inside = set(group)
        for gate_id in group:
            if gate_id in told:
                continue
            circle = _shortest_circle(left, gate_id, inside)
            if circle and not told & set(circle):
                told |= set(circle)
                yield circle


def _shortest_circle(left: Mapping[str, list[Way]], start: str, inside: set[str]) -> list[str]:
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


def wrong_not_done(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that refuse "not done" without cause, and those that let pass what must not be passed.

    It may be refused where something is altered or restored, and where the answer decides between going on
    and a written stop; it must be refused where something is restored. Skipping what later gates need is
    found by the proof of needs.
    """
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        if isinstance(gate, StopGate | FinishGate | RestoreGate | VerdictGate):
            continue
        passes = NOT_DONE in placed.ways
        if isinstance(gate, ConfirmGate) and gate.restores and passes:
            what = f'{gate_id} restores {", ".join(gate.restores)}, yet "not done" passes it'
            yield Violation(gate_id, Fault("not-done", what, "write not_done: false", ("not_done",)), ())
        changes = isinstance(gate, ConfirmGate) and (gate.alters or gate.restores)
        decides = isinstance(gate, ChoiceGate) and any(
            isinstance(procedure.gates[to].gate, StopGate) for to in placed.ways.values() if to not in ENDS
        )
        if not passes and not changes and not decides:
            what = f'{gate_id} cannot be passed by "not done, because"'
            yield Violation(
                gate_id, Fault("not-done", what, "say with not_done where it leads", ("not_done",)), ()
            )


def wrong_firing(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates where the burner must be firing that are not marked so: there silence would be no alarm."""
    before: dict[str, list[str]] = {}
    for gate_id, placed in procedure.gates.items():
        for to in placed.ways.values():
            before.setdefault(to, []).append(gate_id)
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        if gate.firing or generated(placed) or isinstance(gate, StopGate | FinishGate):
            continue
        own = isinstance(gate, TimedGate | AdjustGate) or (
            isinstance(gate, ReadingsGate) and gate.rate is not None
        )
        around = [*before.get(gate_id, ()), *placed.ways.values()]
        others = [procedure.gates[g].gate for g in around if g in procedure.gates]
        others = [other for other in others if not isinstance(other, StopGate | FinishGate)]
        has_both = before.get(gate_id) and any(to not in ENDS for to in placed.ways.values())
        between = bool(has_both) and bool(others) and all(other.firing for other in others)
        if own or between:
            why = "reads a held rate or times the meter" if own else "lies between gates that fire"
            yield Violation(
                gate_id, Fault("firing", f"{gate_id} {why}, but is not firing", "write firing: true"), ()
            )
