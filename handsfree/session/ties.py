"""Values that a law of the trade ties to each other: whether they can all be true, and what that confirms."""

from __future__ import annotations

from dataclasses import replace

from handsfree.events.state import State
from handsfree.gates.visit import Untrue
from handsfree.session.plan import Plan
from handsfree.session.situation import known_at, numeric, settled_together


def untrue(plan: Plan, state: State, *, surely: bool = False) -> Untrue | None:
    """Return why tied values of the set at hand cannot all be true; None when they can, or one is missing.

    With `surely` only sets that have settled count as evidence of the instrument.
    """
    known = known_at(plan, state)
    if surely:
        known = replace(known, together=settled_together(plan, state))
    judgement = plan.trade.plausibility.judged(known)
    if judgement is None or judgement.consistent:
        return None
    fits = plan.catalogue.supplies[judgement.fits[0]] if judgement.fits else ""
    return Untrue(judgement.quantities, judgement.sentence, fits)


def confirmed(plan: Plan, state: State) -> tuple[str, ...]:
    """Return the called quantities that a law confirms and no verdict hangs on: silence may accept those."""
    pending, plausibility = state.pending, plan.trade.plausibility
    tied = set(plausibility.tied)
    if not tied or pending.unsure or not tied <= set(numeric(pending.values)) or tied & set(pending.doubtful):
        return ()
    judgement = plausibility.judged(known_at(plan, state))
    if judgement is None or not judgement.consistent or judgement.near_limit:
        return ()
    return judgement.quantities
