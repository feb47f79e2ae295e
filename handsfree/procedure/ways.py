"""The ways of a procedure: each gate with each outcome that some visit can have there."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.procedure.procedure import PlacedGate, Procedure


def ways(procedure: Procedure) -> frozenset[tuple[str, str]]:
    """Return all (gate, outcome), without the branches of a verdict that its calculation never answers there."""
    return frozenset(
        (gate_id, outcome)
        for gate_id, placed in procedure.gates.items()
        for outcome in placed.transitions.keys() - set(_never(procedure, placed))
    )


def _never(procedure: Procedure, placed: PlacedGate) -> Iterator[str]:
    judges = placed.gate.effects.judges
    known = None if judges is None else procedure.trade.functions.calculations.get(judges.calculation)
    if judges is not None and known is not None:
        yield from set(known.outcomes) - set(known.outcomes_by(judges.limits))


__all__ = ["ways"]
