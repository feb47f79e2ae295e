"""What the readings so far have passed of the trade's stop limits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from handsfree.events.decisions import ReadingRecord
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE, Correction, Meaning, Shown, Values
from handsfree.session.plan import Plan
from handsfree.trades.stops import OpenStop


def called(record: ReadingRecord) -> Shown:
    """Return a recorded value as it was called: a number, or what the display showed instead of one."""
    if record.value == OVER_RANGE:
        return OVER_RANGE
    return NO_READING if record.value == NO_READING else Decimal(record.value)


def stops_open(
    plan: Plan, values: Mapping[str, ReadingRecord], *, may_adjust: bool = True
) -> tuple[OpenStop, ...]:
    """Return the stops that these values open, the gravest first; those that only ask to search are left out."""
    known = {quantity: called(record) for quantity, record in values.items()}
    return plan.trade.stops.open(plan.sheets, known, may_adjust=may_adjust)


def decides_a_stop(plan: Plan, quantity: str, values: Mapping[str, ReadingRecord]) -> bool:
    """Say whether the quantity passes a stop limit by itself, or may make them all pass one together."""
    alone = bool(stops_open(plan, {quantity: values[quantity]}))
    return alone or (quantity in plan.trade.stops.called_twice and bool(stops_open(plan, values)))


def called_over_range(plan: Plan, meanings: Iterable[Meaning]) -> str | None:
    """Return the quantity that was, or may have been, called over range and then stops the work at once."""
    said = (one.values for one in meanings if isinstance(one, Values | Correction))
    at_once = plan.trade.stops.over_range
    found = (quantity for values in said for quantity, value in values if value == OVER_RANGE)
    return next((quantity for quantity in found if quantity in at_once), None)
