"""Exhaustive search over gates and whatever one proof has to remember.

Each proof is a *monitor*: a small automaton that follows a visit and says at which gate something is wrong. No
transition between gates depends on more than the gate itself, so monitors for different things never influence
each other: the product of the gates with one monitor at a time covers the full product of gates and all altered
things, and time and memory grow with their sum and not with the power set.

Four guards on transitions are left out at first, which only adds visits: a loop may be called exhausted at its
first round, a sheet may have a limit at one verdict and none at the next, the same verdict on the same readings
may be another the second time, and a branch or a condition may follow what is not on the sheet or was not
answered. When a story uses such a transition it is searched again with just those counts, limits, verdicts and
deciders followed exactly, so a story that is told can happen: of facts of the sheets each combination of their
values is then a beginning of its own.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any, TypeVar

from handsfree.documents import Place
from handsfree.gates.outcomes import ENDS, EXHAUSTED, NOT_ASKED
from handsfree.procedure.branching import may_leave, may_open
from handsfree.procedure.placed import JudgingKey, LimitKey, PlacedGate
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.deciders import PathDeciders, answered, at_first
from handsfree.trades.calculation import NO_LIMIT, OUTSIDE, TOO_CLOSE, WITHIN

_Key = TypeVar("_Key")
_Fact = TypeVar("_Fact")

UNOPENED = frozenset({EXHAUSTED, NOT_ASKED})
"""Outcomes by which a gate is left before it opens: nothing is asked, judged or decided there."""

MOST_NODES = 400_000
"""Nodes of one exact search; beyond it a story is told as not counted out."""


@dataclass(frozen=True)
class ProofFault:
    """What a monitor holds against entering a gate."""

    proof: str
    what: str
    remedy: str = ""
    at: tuple[str | int, ...] = ()
    """The key of the gate's block that the fault is about."""


class Monitor:
    """What one proof remembers of a visit; states are small hashable values."""

    start: Any = None

    def leave(self, placed: PlacedGate, outcome: str, state: Any) -> Any:  # noqa: ARG002
        """Return the state after the gate was left by the outcome."""
        return state

    def passed_over(self, placed: PlacedGate, state: Any) -> Any:  # noqa: ARG002
        """Return the state after the gate was come to and not asked."""
        return state

    def enter(self, placed: PlacedGate, state: Any) -> tuple[ProofFault, ...]:  # noqa: ARG002
        """Return what is wrong when the gate opens in this state."""
        return ()

    def opened(self, placed: PlacedGate, state: Any) -> Any:  # noqa: ARG002
        """Return the state once the gate has opened: what was wrong has been put right, so it is told once."""
        return state


Exact = tuple[tuple[int, ...], tuple[bool | None, ...], tuple[str | None, ...], tuple[str, ...]]
Node = tuple[str, Hashable, Exact]
Transition = tuple[str, str]
"""A gate and the outcome by which it is left."""


def _read_anew(placed: PlacedGate, key: JudgingKey) -> bool:
    """Say whether the gate takes or voids readings that a verdict judges."""
    effects, points = placed.gate.effects, {point for _, point in key[1]}
    turned = () if effects.turns is None else (effects.turns.using, *effects.turns.voids)
    return effects.kept_at in points or not points.isdisjoint(turned)


def generated(placed: PlacedGate) -> bool:
    """Say whether the language itself added the gate: the end of a part that is run by itself."""
    return (placed.place.line, placed.place.column) == (1, 1)


def says_loaded(outcome: str) -> bool | None:
    """Return whether the outcome of a verdict shows that its limit is loaded; None when it shows nothing."""
    if outcome == NO_LIMIT:
        return False
    return True if outcome in {WITHIN, OUTSIDE, TOO_CLOSE} else None


@dataclass(frozen=True)
class Guard:
    """The loop counts, the sheets' limits, the verdicts and the deciders that a search follows exactly."""

    counted: tuple[str, ...] = ()
    limits: tuple[LimitKey, ...] = ()
    judged: tuple[JudgingKey, ...] = ()
    deciding: tuple[str, ...] = ()

    def starts(self, procedure: Procedure) -> Iterator[Exact]:
        """Yield each beginning: nothing entered, no limit known, and each combination of facts of the sheets."""
        begun = (0,) * len(self.counted), (None,) * len(self.limits), (None,) * len(self.judged)
        for values in product(*(at_first(procedure, decider) for decider in self.deciding)):
            yield *begun, values

    def known(self, exact: Exact) -> dict[str, str]:
        """Return what is known of each decider."""
        return dict(zip(self.deciding, exact[3], strict=True))

    def entering(self, exact: Exact, placed: PlacedGate) -> Exact:
        """Count the gate, and forget the verdicts on what it reads anew."""
        judged = tuple(
            None if _read_anew(placed, key) else outcome
            for key, outcome in zip(self.judged, exact[2], strict=True)
        )
        if placed.id not in self.counted:
            return exact[0], exact[1], judged, exact[3]
        place = self.counted.index(placed.id)
        most = (placed.gate.at_most or 0) + 1
        counts = list(exact[0])
        counts[place] = min(most, counts[place] + 1)
        return tuple(counts), exact[1], judged, exact[3]

    def leaving(self, exact: Exact, placed: PlacedGate, outcome: str) -> Exact | None:
        """Return what is known after the transition was taken, or None when it cannot be taken."""
        if placed.id in self.counted:
            over = exact[0][self.counted.index(placed.id)] > (placed.gate.at_most or 0)
            if over != (outcome == EXHAUSTED):
                return None
        if self.deciding and not may_leave(placed, outcome, self.known(exact)):
            return None
        key, loaded = placed.limit_key, says_loaded(outcome)
        limits = _known(self.limits, exact[1], key if loaded is not None else None, loaded)
        judged = _known(self.judged, exact[2], None if outcome in UNOPENED else placed.judging_key, outcome)
        if limits is None or judged is None:
            return None
        return exact[0], limits, judged, answered(self.deciding, exact[3], placed.id, outcome)


def _known(
    keys: tuple[_Key, ...], facts: tuple[_Fact | None, ...], key: _Key | None, fact: _Fact | None
) -> tuple[_Fact | None, ...] | None:
    """Return the facts with one more, or None where another is known."""
    if key is None or key not in keys:
        return facts
    place = keys.index(key)
    if facts[place] not in {None, fact}:
        return None
    return (*facts[:place], fact, *facts[place + 1 :])


@dataclass(frozen=True)
class Violation:
    """A fault, the gate where it shows, and a shortest way there."""

    gate: str
    fault: ProofFault
    transitions: tuple[Transition, ...]
    exact: bool = True
    place: Place | None = None
    """Where it is to be looked at, where that is not a key of the gate."""


@dataclass
class Explored:
    """What a search has seen: the states in which each gate was entered, and the faults."""

    states: dict[str, set[Hashable]] = field(default_factory=dict)
    faults: dict[tuple[str, ProofFault], Node] = field(default_factory=dict)
    parents: dict[Node, tuple[Node, str] | None] = field(default_factory=dict)
    complete: bool = True

    def transitions(self, node: Node) -> tuple[Transition, ...]:
        """Return the transitions taken to a node."""
        taken: list[Transition] = []
        parent = self.parents[node]
        while parent is not None:
            before, outcome = parent
            taken.append((before[0], outcome))
            parent = self.parents[before]
        return tuple(reversed(taken))


class Search:
    """A search breadth first through every gate and state; asked again, it goes on from where it was left."""

    def __init__(self, procedure: Procedure, monitor: Monitor, guard: Guard | None = None) -> None:
        self._gates: Mapping[str, PlacedGate] = procedure.gates
        self._monitor, self._guard = monitor, guard or Guard()
        self._seen = Explored()
        self._queue: deque[Node] = deque()
        for start in self._guard.starts(procedure):
            entered = self._guard.entering(start, self._gates[procedure.first])
            first: Node = (procedure.first, monitor.start, entered)
            self._seen.parents[first] = None
            self._queue.append(first)

    def until(self, fault: tuple[str, ProofFault] | None = None) -> Explored:
        """Return what is seen once a fault of a gate is found, or else in the end."""
        while self._queue and (fault is None or fault not in self._seen.faults):
            self._enter(self._queue.popleft())
        return self._seen

    def _enter(self, node: Node) -> None:
        gate_id, state, exact = node
        placed, guard, monitor, seen = self._gates[gate_id], self._guard, self._monitor, self._seen
        seen.states.setdefault(gate_id, set()).add(state)
        over = gate_id in guard.counted and exact[0][guard.counted.index(gate_id)] > (placed.gate.at_most or 0)
        if not over and may_open(placed, guard.known(exact)):
            for fault in monitor.enter(placed, state):
                seen.faults.setdefault((gate_id, fault), node)
        opened = monitor.opened(placed, state)
        for outcome, to in placed.transitions.items():
            after = guard.leaving(exact, placed, outcome)
            if to in ENDS or after is None:
                continue
            left = (
                state
                if outcome == EXHAUSTED
                else monitor.passed_over(placed, state)
                if outcome == NOT_ASKED
                else monitor.leave(placed, outcome, opened)
            )
            reached: Node = (to, left, guard.entering(after, self._gates[to]))
            if reached not in seen.parents:
                if len(seen.parents) >= MOST_NODES:
                    seen.complete = False
                    self._queue.clear()
                    return
                seen.parents[reached] = (node, outcome)
                self._queue.append(reached)


def explore(procedure: Procedure, monitor: Monitor, guard: Guard | None = None) -> Explored:
    """Search through every gate and state."""
    return Search(procedure, monitor, guard).until()


@dataclass(frozen=True)
class Visits:
    """The gates that some visit enters; a shortest visit to each is told when it is asked for."""

    seen: Explored
    nodes: Mapping[str, Node]
    longer: Mapping[str, tuple[Transition, ...]]
    """Where the first transition found cannot happen: one that can."""

    def __contains__(self, gate_id: object) -> bool:
        return gate_id in self.nodes

    def __iter__(self) -> Iterator[str]:
        return iter(self.nodes)

    def transitions(self, gate_id: str) -> tuple[Transition, ...]:
        """Return a shortest visit to a gate."""
        return self.longer[gate_id] if gate_id in self.longer else self.seen.transitions(self.nodes[gate_id])


class _Reaching(Monitor):
    """Remembers nothing and reports each gate that is entered."""

    def enter(self, placed: PlacedGate, state: Any) -> tuple[ProofFault, ...]:
        """Report the gate."""
        del state
        return (ProofFault("reached", placed.id),)


def reached(procedure: Procedure) -> Visits:
    """Return the gates that some visit really enters."""
    searches = _Searches(procedure, _Reaching())
    seen = searches.under(Guard()).until()
    nodes: dict[str, Node] = {}
    longer: dict[str, tuple[Transition, ...]] = {}
    for (gate_id, fault), node in seen.faults.items():
        transitions = seen.transitions(node)
        found = searches.confirmed(gate_id, fault, transitions)
        if found is not None:
            nodes[gate_id] = node
            if found.transitions != transitions:
                longer[gate_id] = found.transitions
    return Visits(seen, nodes, longer)


def violations(procedure: Procedure, monitor: Monitor, seen: Explored | None = None) -> Iterator[Violation]:
    """Yield each fault of the monitor that some visit really meets, with a shortest story of it.

    `seen` is what it sees without a guard, where that is known already.
    """
    searches = _Searches(procedure, monitor)
    seen = seen or explore(procedure, monitor)
    for (gate_id, fault), node in seen.faults.items():
        found = searches.confirmed(gate_id, fault, seen.transitions(node))
        if found is not None:
            yield found


class _Searches:
    """The searches of one monitor, one under each guard: most of its faults ask for the same few guards."""

    def __init__(self, procedure: Procedure, monitor: Monitor) -> None:
        self._procedure, self._monitor = procedure, monitor
        self._begun: dict[Guard, Search] = {}

    def under(self, guard: Guard) -> Search:
        if guard not in self._begun:
            self._begun[guard] = Search(self._procedure, self._monitor, guard)
        return self._begun[guard]

    def confirmed(self, gate_id: str, fault: ProofFault, transitions: tuple[Transition, ...]) -> Violation | None:
        """Return the fault with a shortest story that can happen; None where none can."""
        guard = Guard()
        while True:
            wider = impossible(self._procedure, transitions, guard, gate_id)
            if wider is None:
                return Violation(gate_id, fault, transitions)
            guard = wider
            seen = self.under(guard).until((gate_id, fault))
            node = seen.faults.get((gate_id, fault))
            if node is None:
                return None if seen.complete else Violation(gate_id, fault, transitions, exact=False)
            transitions = seen.transitions(node)


def impossible(procedure: Procedure, transitions: tuple[Transition, ...], guard: Guard, last: str) -> Guard | None:
    """Return the guard that rules these transitions out, extending the one given; None when they can happen."""
    entered: dict[str, int] = {}
    known: dict[LimitKey, bool] = {}
    judged: dict[JudgingKey, str] = {}
    path = PathDeciders(procedure)
    for gate_id, outcome in (*transitions, (last, "")):
        placed = procedure.gates[gate_id]
        entered[gate_id] = entered.get(gate_id, 0) + 1
        at_most = placed.gate.at_most
        if at_most is not None and (entered[gate_id] > at_most) != (outcome == EXHAUSTED):
            return replace(guard, counted=(*guard.counted, gate_id))
        key, loaded = placed.limit_key, says_loaded(outcome)
        if key is not None and loaded is not None and known.setdefault(key, loaded) != loaded:
            return replace(guard, limits=(*guard.limits, key))
        judged = {one: was for one, was in judged.items() if not _read_anew(placed, one)}
        judging = None if outcome in UNOPENED else placed.judging_key
        if judging is not None and outcome and judged.setdefault(judging, outcome) != outcome:
            return replace(guard, judged=(*guard.judged, judging))
        if not path.take(placed, outcome):
            return replace(guard, deciding=path.wider(placed, guard.deciding))
    return None
