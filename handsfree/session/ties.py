"""Values that are tied to each other: whether they can all be true, and what that confirms."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from handsfree.events.state import State
from handsfree.gates.visit import Untrue
from handsfree.session.plan import Plan
from handsfree.session.plausibility import Situation, judge_pair
from handsfree.session.situation import numeric, settled_pairs, situation_of

PAIR = ("co2", "o2")

VERDICT_ROOM = Decimal("0.2")
"""Points of CO2: the pair check lets no larger mishearing pass. Common practice, no source."""

FLICKER_STEPS = 1
CO_FLICKER = Decimal(4)
"""Two calls of one live display are alike within a step, CO within 4 ppm: common practice, no source."""


def untrue(plan: Plan, state: State, *, surely: bool = False) -> Untrue | None:
    """Return why CO2 and O2 of the set at hand cannot both be true; None when they can, or one is missing.

    With `surely` only pairs that have settled count as evidence of the analyser.
    """
    situation = situation_of(plan, state)
    if surely:
        situation = replace(situation, pairs=settled_pairs(state))
    readings = situation.this_set
    if not set(PAIR) <= set(readings):
        return None
    judgement = judge_pair(situation, readings["co2"], readings["o2"])
    if judgement.consistent:
        return None
    fits = plan.catalogue.fuels[judgement.fits[0]] if judgement.fits else ""
    return Untrue(PAIR, judgement.sentence, fits)


def confirmed(plan: Plan, state: State) -> tuple[str, ...]:
    """Return the called quantities that physics confirms and no verdict hangs on: silence may accept those."""
    pending = state.pending
    readings = numeric(pending.values)
    if pending.unsure or not set(PAIR) <= set(readings) or set(PAIR) & set(pending.doubtful):
        return ()
    situation = situation_of(plan, state)
    consistent = judge_pair(situation, readings["co2"], readings["o2"]).consistent
    return PAIR if consistent and not _verdict_hangs(situation, readings["co2"].value) else ()


def _verdict_hangs(situation: Situation, co2: Decimal) -> bool:
    """Say whether an edge of the maker's band lies so near that a mishearing could change the verdict."""
    band = situation.co2_band
    edges = [] if band is None else [edge for edge in (band.low, band.high) if edge is not None]
    return any(abs(co2 - edge) <= VERDICT_ROOM for edge in edges)


def same_display(quantity: str, resolution: Decimal) -> Decimal:
    """Return how far two calls of one live display may lie apart, in the quantity's unit."""
    return CO_FLICKER if quantity in {"co", "ambient_co"} else FLICKER_STEPS * resolution
