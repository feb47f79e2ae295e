"""What the readings so far have passed of the trade's stop limits."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from handsfree.lexicon.meaning import Called
from handsfree.session.events import ReadingRecord
from handsfree.session.plan import Plan
from handsfree.trades.stops import OpenStop

OVER_RANGE: Final = "over range"
NO_READING: Final = "no reading"


def called(record: ReadingRecord) -> Called:
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
