"""What is proven of the ways back from a stop: nothing fires again without the steps that the stop requires.

What a stop requires stands beside how it is left (`hazards.yaml` of the trade): a step dropped from the one is
still named by the other. A visit can be stopped at any question of any gate, so each gate that some visit reaches
is a beginning. From there the first gate is looked for at which something fires; where nothing of the trade fires,
the gate itself is where the work goes on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from handsfree.lexicon.stops import Stop, StopsFile
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.search import ProofFault, Violation, Visits


def skipped(procedure: Procedure, stops: StopsFile, visits: Visits) -> Iterator[Violation]:
    """Yield each stop that leads back without a step it requires, with a shortest visit on which that happens."""
    for name, stop in stops.stops.items():
        yield from _unmarked(procedure, name, stop)
        missing = [step for step in stop.requires if step not in (*stop.re_entry, *stop.relight)]
        found = _first_back(procedure, visits) if missing else None
        if found is None:
            continue
        at, to = found
        walked = ", ".join((*stop.re_entry, *stop.relight)) or "nothing"
        what = f"after {name} at {at} the work goes on at {to} without {', '.join(missing)}: walked are {walked}"
        fault = ProofFault("re-entry", what, f"walk it in re_entry or relight of {name} in hazards.yaml")
        yield Violation(at, fault, visits.transitions(at))


def _unmarked(procedure: Procedure, name: str, stop: Stop) -> Iterator[Violation]:
    """Yield a stop that requires nothing, or after which nothing is watched when it is lit again."""
    fires = procedure.trade.file.fires
    if not stop.requires or (fires and not stop.relight):
        lacking = "requires no step" if not stop.requires else "has no step for lighting again"
        fault = ProofFault("re-entry", f"the stop {name} {lacking}", "write it in hazards.yaml of the trade")
        yield Violation("", fault, ())
    late = [step for step in stop.re_entry if step in stop.relight]
    if late:
        fault = ProofFault("re-entry", f"the stop {name} walks {', '.join(late)} twice", "write it once")
        yield Violation("", fault, ())


def _first_back(procedure: Procedure, visits: Visits) -> tuple[str, str] | None:
    """Return the first gate from which a stop leads on to where something fires, and that one; None for none."""
    for gate_id in visits:
        to = _where_it_fires(procedure, gate_id)
        if to is not None:
            return gate_id, to
    return None


def _where_it_fires(procedure: Procedure, gate_id: str) -> str | None:
    if not procedure.trade.file.fires:
        return gate_id
    seen, queue = {gate_id}, deque([gate_id])
    while queue:
        placed = procedure.gates[queue.popleft()]
        if placed.gate.firing:
            return placed.id
        for to in placed.transitions.values():
            if to in procedure.gates and to not in seen:
                seen.add(to)
                queue.append(to)
    return None
