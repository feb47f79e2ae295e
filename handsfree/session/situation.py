"""What the visit knows when a value is called, in the shape that the check of plausibility takes."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from handsfree.events.decisions import ReadingRecord
from handsfree.events.state import State
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE
from handsfree.measurement.reading import Reading
from handsfree.measurement.verdict import Band
from handsfree.session.plan import Plan
from handsfree.session.plausibility import Situation
from handsfree.session.stops import fuel_of, limits_in_force
from handsfree.trades.combustion.sheets import combustion


def numeric(values: Mapping[str, ReadingRecord]) -> dict[str, Reading]:
    """Return the values that are numbers, as readings."""
    return {
        quantity: Reading.from_record(record.model_dump())
        for quantity, record in values.items()
        if record.value not in {OVER_RANGE, NO_READING}
    }


def _begun(state: State, kept_at: str) -> Mapping[str, ReadingRecord]:
    """Return what is already accepted of the set being called."""
    sets = state.sets.get(kept_at, ())
    return sets[-1].values if sets and not sets[-1].complete else {}


Pairs = tuple[tuple[Decimal, Decimal], ...]


def _accepted_pairs(state: State) -> Pairs:
    """Return CO2 and O2 of every whole set that is not doubted."""
    sets = (one for kept in state.sets.values() for one in kept if one.complete and not one.doubted)
    whole = [numeric(one.values) for one in sets]
    return tuple((values["co2"].value, values["o2"].value) for values in whole if {"co2", "o2"} <= set(values))


def settled_pairs(state: State) -> Pairs:
    """Return CO2 and O2 of every place that has settled on pairs not doubted.

    While a display moves, its two cells differ by how fast they are: what accepted pairs teach of the analyser
    may then be wrong. It is enough to have a pair called again, and not to call one untrue that came twice.
    """
    return tuple(
        (Decimal(settled["co2"].reading.value), Decimal(settled["o2"].reading.value))
        for kept_at, settled in state.settled.items()
        if {"co2", "o2"} <= set(settled) and not state.doubted(kept_at)
    )


def situation_of(plan: Plan, state: State) -> Situation:
    """Return the situation at the gate at hand."""
    gate = plan.gate(state.gate).gate
    sheets = combustion(plan.sheets)
    kept_at, rate = gate.effects.kept_at, gate.effects.rate
    taken = state.readings(kept_at)
    maker = sheets.fuel.co2.get(rate) if rate is not None else None
    band = None if maker is None else Band(maker.low, maker.high, sheets.appliance.source(maker.page))
    return Situation(
        fuel=fuel_of(sheets),
        co2_computed=sheets.job.instrument.co2 == "computed",
        co2_uncertainty=sheets.job.instrument.co2_uncertainty,
        o2_uncertainty=sheets.job.instrument.o2_uncertainty,
        co2_band=band,
        this_set=numeric({**_begun(state, kept_at), **state.pending.values}),
        previous_set=numeric(taken[-1].values) if taken else {},
        pairs=_accepted_pairs(state),
        limits=limits_in_force(sheets),
    )
