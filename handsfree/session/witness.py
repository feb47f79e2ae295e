"""The instrument as second witness: its row nearest in time beside what was called. It answers nothing itself."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from handsfree.events.decisions import InstrumentCompared, ReadingRecord
from handsfree.events.inputs import InstrumentRow, InstrumentValue
from handsfree.events.state import State
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE
from handsfree.measurement.agreement import normalized_error, room
from handsfree.measurement.reading import Reading
from handsfree.session.plan import Plan
from handsfree.session.settling import tolerance
from handsfree.session.stops import decides_a_stop, stops_open
from handsfree.trades.stops import OpenStop
from handsfree.units import convert

WINDOW_MS = 15_000
"""A row taken longer before or after the call is no witness: common practice, no source."""


def compared(plan: Plan, state: State, called: ReadingRecord, onset: int) -> InstrumentCompared | None:
    """Return how the instrument's row nearest in time stands to a called value; None where it shows none.

    They agree where their difference is within the room for it (`measurement/agreement.py`), by the trade's
    tolerance for a quantity that still moves. The person is asked once in a set where they do not, or where the
    instrument alone passes a limit; never where what was called stops the work, which waits for nothing.
    """
    near = _nearest(plan, state, called.quantity, onset)
    if near is None or called.value == NO_READING:
        return None
    shown, age, row = near
    within, agrees = "", called.value == shown.value
    if OVER_RANGE not in {called.value, shown.value}:
        value, other = Decimal(called.value), Decimal(shown.value)
        steps = Decimal(called.resolution), Decimal(shown.resolution)
        space = room(*steps, tolerance(plan, called.quantity, max(value, other, key=abs), max(steps)))
        within, agrees = f"{space:f}", normalized_error(value, other, space) <= 1
    alone = passes(plan, called.quantity, row) and not passes(plan, called.quantity, called_so_far(plan, state))
    asked = called.quantity in state.pending.contested
    stops = bool(stops_open(plan, called_so_far(plan, state)))
    return InstrumentCompared(
        at=state.now,
        gate=state.gate,
        reading=called,
        shown=shown,
        age_ms=age,
        room=within,
        agrees=agrees,
        asks=(alone or not agrees) and not asked and not stops,
    )


def passes(plan: Plan, quantity: str, values: Mapping[str, ReadingRecord]) -> bool:
    """Say whether a quantity passes a limit, with the values beside it or, be it only one to search at, alone."""
    record = values.get(quantity)
    if record is None or record.value == NO_READING:
        return False
    search = record.value != OVER_RANGE and plan.trade.stops.opens(plan.sheets, {}, record.reading)
    return search or decides_a_stop(plan, quantity, values)


def opened(plan: Plan, called: ReadingRecord, beside: Mapping[str, ReadingRecord]) -> tuple[OpenStop, ...]:
    """Return the stops that a called value opens, with what the instrument shows beside it, and not without it."""
    others = {name: one for name, one in beside.items() if name != called.quantity}
    without = stops_open(plan, others)
    return tuple(one for one in stops_open(plan, {**others, called.quantity: called}) if one not in without)


def called_so_far(plan: Plan, state: State) -> Mapping[str, ReadingRecord]:
    """Return what was called of the set at hand, accepted or not."""
    sets = state.sets.get(plan.gate(state.gate).gate.effects.kept_at, ())
    begun = sets[-1].values if sets and not sets[-1].complete else {}
    return {**begun, **state.pending.values}


def records_of(plan: Plan, row: InstrumentRow) -> dict[str, ReadingRecord]:
    """Return what a row shows, faults left out, by quantity."""
    known = (one for one in row.values if one.quantity in plan.catalogue.quantities and one.value != NO_READING)
    return {one.quantity: shown_record(plan, one) for one in known}


def shown_record(plan: Plan, one: InstrumentValue) -> ReadingRecord:
    """Return what an instrument shows in the quantity's own unit, with the unit it was written in beside it."""
    unit = plan.catalogue.quantities[one.quantity].unit
    if one.value in {OVER_RANGE, NO_READING}:
        return ReadingRecord(quantity=one.quantity, value=one.value, unit=unit, resolution="1")
    if one.unit == unit:
        return ReadingRecord(**Reading.written(one.quantity, one.value, unit).to_record())
    read = Reading.converted(one.quantity, Decimal(one.value), one.unit, unit).to_record()
    return ReadingRecord(**read, called=one.value, called_unit=one.unit)


def as_said(plan: Plan, shown: ReadingRecord, called: ReadingRecord | None = None) -> str:
    """Return what an instrument shows as the tool says it: in the unit that the person called, with its digits."""
    if shown.value in {OVER_RANGE, NO_READING}:
        return plan.catalogue.say(shown.value.replace(" ", "-"))
    known = plan.catalogue.quantities[shown.quantity]
    unit = called.called_unit if called is not None and called.called_unit else known.unit
    decimals = known.decimals if unit == known.unit else known.also[unit]
    value = convert(Decimal(shown.value), shown.unit, unit)
    places = decimals if shown.called_unit or unit != known.unit else -int(value.as_tuple().exponent)
    digits = plan.numbers.digits(value.quantize(Decimal(1).scaleb(-places)))
    return digits if unit == known.unit else f"{digits} {plan.catalogue.units[unit].said}"


def shown_near(plan: Plan, state: State, quantity: str, onset: int) -> Mapping[str, ReadingRecord]:
    """Return what the instrument showed nearest in time to a call of a quantity; nothing without a row."""
    near = _nearest(plan, state, quantity, onset)
    return {} if near is None else near[2]


def _nearest(
    plan: Plan, state: State, quantity: str, onset: int
) -> tuple[ReadingRecord, int, Mapping[str, ReadingRecord]] | None:
    """Return what was shown of a quantity nearest in time to a call, how long before it, and its row."""
    found = [
        (abs(onset - row.taken), -number, row)
        for number, row in enumerate(state.rows)
        for one in row.values
        if one.quantity == quantity and one.value != NO_READING and abs(onset - row.taken) <= WINDOW_MS
    ]
    if not found or quantity not in plan.catalogue.quantities:
        return None
    _, _, row = min(found, key=lambda each: each[:2])
    records = records_of(plan, row)
    return records[quantity], onset - row.taken, records
