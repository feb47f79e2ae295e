"""Stop limits that called values pass, as the visit acts on them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from handsfree.events.decisions import ReadingRecord
from handsfree.lexicon.meaning import OVER_RANGE, Correction, Meaning, Values
from handsfree.session.stops import stops_open
from handsfree.trades.combustion.stop_limits import OpenStop
from handsfree.trades.sheets import Sheets

CARBON_MONOXIDE = frozenset({"co", "ambient_co"})


@dataclass(frozen=True)
class Passed:
    """A stop limit that was passed, the gravest first: its name, what to record of it, and its source."""

    name: str
    detail: str
    source: str


def of(stop: OpenStop) -> Passed:
    """Return an open stop as the visit records it."""
    return Passed(stop.name, f"{stop.name} {stop.value}, {stop.limit}", stop.source)


def passed(sheets: Sheets, values: Mapping[str, ReadingRecord], *, may_adjust: bool = True) -> tuple[Passed, ...]:
    """Return the stop limits that the values pass, the gravest first."""
    return tuple(of(stop) for stop in stops_open(sheets, values, may_adjust=may_adjust))


def decides(sheets: Sheets, quantity: str, values: Mapping[str, ReadingRecord]) -> bool:
    """Say whether the quantity passes a stop limit by itself, or is what makes the values together pass one."""
    alone = bool(stops_open(sheets, {quantity: values[quantity]}))
    return alone or (quantity == "co" and bool(stops_open(sheets, values)))


def over_range(meanings: Iterable[Meaning]) -> str | None:
    """Return the quantity that was, or may have been, called over range and then stops the work at once."""
    called = (one.values for one in meanings if isinstance(one, Values | Correction))
    found = (q for values in called for q, value in values if q in CARBON_MONOXIDE and value == OVER_RANGE)
    return next((str(quantity) for quantity in found), None)
