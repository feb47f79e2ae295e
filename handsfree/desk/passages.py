"""How each gate was answered last, and whether a visit answered a gate at all."""

from __future__ import annotations

from handsfree.desk.evidence import Evidence
from handsfree.desk.spans import GateSpan
from handsfree.gates.outcomes import NOT_ASKED, NOT_DONE

_NO_ANSWER = frozenset({NOT_DONE, NOT_ASKED, "went back", ""})


def own_id(gate: str) -> str:
    """Return the id of a gate in its own file."""
    return gate.rsplit("/", 1)[-1]


def last_passages(evidence: Evidence) -> dict[str, GateSpan]:
    """Return the last passage of each gate that was answered."""
    return {span.gate: span for span in evidence.gates if span.outcome not in _NO_ANSWER}


def answered(evidence: Evidence, gate: str) -> bool:
    """Say whether a visit answered a gate: by itself, or at one that led to it and was left another way.

    Where several things are one question, an exception is named and leads to its own gate: who named none has
    answered for all.
    """
    plan = evidence.recorded.plan
    for full, span in last_passages(evidence).items():
        if own_id(full) == gate:
            return True
        if plan is not None and full in plan.procedure.gates:
            to = plan.gate(full).transitions
            if own_id(to.get(span.outcome, "")) != gate and gate in {own_id(one) for one in to.values()}:
                return True
    return False
