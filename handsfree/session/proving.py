"""What the visit was for and has not shown: not done, read as no value, not judged, or turned since."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from handsfree.events.decisions import Ending, Lacking, VisitClosed, WhyLacking
from handsfree.events.state import AdjusterTurned, State
from handsfree.gates.outcomes import NOT_ASKED
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE
from handsfree.session import deciding
from handsfree.session.plan import Plan
from handsfree.trades.calculation import MISSING, NO_LIMIT


def lacking(plan: Plan, state: State) -> tuple[Lacking, ...]:
    """Return what the procedure says it proves and this visit did not, each with the reason."""
    found = ((claim.says, _why(plan, state, tuple(claim.by))) for claim in plan.procedure.file.proves)
    return tuple(Lacking(what=says, why=why) for says, why in found if why is not None)


def closed(plan: Plan, state: State, outcome: Ending) -> VisitClosed:
    """Return the last event of a visit: one that has not shown what it is for is left incomplete."""
    missing = lacking(plan, state)
    return VisitClosed(
        at=state.now,
        outcome="incomplete" if missing and outcome == "finished" else outcome,
        lacking=missing,
        still_altered=tuple(state.altered),
        not_done=state.not_done,
        readings=state.accepted,
        verdicts=dict(state.verdicts),
    )


def _why(plan: Plan, state: State, gates: tuple[str, ...]) -> WhyLacking | None:
    """Return why none of the gates shows it; None when one does and none that was come to was left undone.

    A verdict without a limit shows nothing, and leaves it to another of them; so does a gate that was not asked.
    What the sheets leave no gate to show is not lacking.
    """
    passed = [one for one in gates if one in state.passed and state.outcomes.get(one) != NOT_ASKED]
    if not passed:
        return None if deciding.possible(plan).isdisjoint(gates) else "not done"
    why = {gate_id: _of_gate(plan, state, gate_id) for gate_id in passed}
    undone = next((one for one in why.values() if one in {"not done", "no reading"}), None)
    if undone is not None or None in why.values():
        return undone
    return why[passed[-1]]


def _of_gate(plan: Plan, state: State, gate_id: str) -> WhyLacking | None:
    """Return why a gate that was passed shows nothing; None when it does."""
    judging = plan.gate(gate_id).gate.effects.judges
    if judging is None:
        return "not done" if gate_id in state.not_done else None
    outcome = state.verdicts.get(gate_id)
    if outcome in {None, MISSING}:
        return "no reading"
    if outcome == NO_LIMIT:
        return "not judged"
    return next(_of_readings(plan, state, judging.using.values()), None)


def _of_readings(plan: Plan, state: State, kept: Iterable[str]) -> Iterator[WhyLacking]:
    """Yield why readings that were judged show nothing any more."""
    turns = [one.at for one in state.history if isinstance(one, AdjusterTurned) and one.eighths]
    for kept_at in kept:
        sets = state.readings(kept_at)
        if not sets or any(one.value in {NO_READING, OVER_RANGE} for one in sets[-1].values.values()):
            yield "no reading"
        elif turns and turns[-1] > sets[-1].at and not plan.trade.adjusting.needs.isdisjoint(sets[-1].values):
            yield "turned since"
