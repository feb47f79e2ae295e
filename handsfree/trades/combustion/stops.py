"""The stop limits in force on a visit, by its sheets, and which of them the readings so far have passed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from typing import Any

from handsfree.lexicon.meaning import Shown
from handsfree.measurement.reading import Reading
from handsfree.trades.combustion.fuels import Fuel, fuel_named
from handsfree.trades.combustion.sheets import combustion
from handsfree.trades.combustion.stop_limits import SafetyReadings, StopLimits, open_stops
from handsfree.trades.sheets import Sheets
from handsfree.trades.stops import SEVERE, OpenStop, Stops

WATCHED = frozenset({"co", "o2", "co2", "flue_temperature", "ambient_co", "air_duct_o2", "air_duct_co2"})
"""Quantities held to the stop limits at once. Supply pressures have a verdict of their own, before any screw."""

MAKERS_CO = {"air-free": "maker-air-free-co", "as measured": "maker-co", "ratio": "maker-co-ratio"}
"""The basis of the maker's CO limit -> the stop limit it loads."""


def fuel_of(sheets: Sheets) -> Fuel:
    """Return the job's fuel."""
    return fuel_named(combustion(sheets).job.fuel.replace("-", " "))


def limits_in_force(sheets: Sheets) -> StopLimits:
    """Return the defaults with the maker's limits loaded and the job's tighter ones applied."""
    limits, on = StopLimits(), combustion(sheets)
    co, hot = on.fuel.co, on.appliance.flue_temperature_high
    if co is not None:
        limits = limits.tightened(MAKERS_CO[co.basis], co.high, on.appliance.source(co.page))
    if hot is not None and hot.high is not None:
        limits = limits.tightened("flue-temperature", hot.high, on.appliance.source(hot.page))
    for name, value in on.job.tighter.items():
        limits = limits.tightened(name, value, "job sheet")
    return limits


class BurnerStops(Stops):
    """The stops of a burner: CO in flue and room, lack of air, products in the air duct, a hot flue."""

    @property
    def guarded(self) -> frozenset[str]:
        """What is held to the stop limits at once."""
        return WATCHED

    def open(
        self, sheets: Sheets, values: Mapping[str, Shown], *, may_adjust: bool = True
    ) -> tuple[OpenStop, ...]:
        """Return the stops that values open, the gravest first; those that only ask to search are left out."""
        return _open(sheets, values, may_adjust=may_adjust)

    def open_rising(self, sheets: Sheets, quantity: str, last: Shown) -> tuple[OpenStop, ...]:
        """Return the stops that rising CO opens: more dangerous than any steady value."""
        return _open(sheets, {quantity: last}, rising=True)

    def opens(self, sheets: Sheets, this_set: Mapping[str, Reading], candidate: Reading) -> bool:
        """Say whether the candidate, with what the set already holds, would pass any limit."""
        return passes_limit(fuel_of(sheets), limits_in_force(sheets), this_set, candidate)


def passes_limit(fuel: Fuel, limits: StopLimits, this_set: Mapping[str, Reading], candidate: Reading) -> bool:
    """Say whether the candidate, with what its set already holds, would pass any limit."""
    known = {each.name for each in fields(SafetyReadings)}
    readings = {**this_set, candidate.quantity: candidate}
    values: dict[str, Any] = {quantity: one.value for quantity, one in readings.items() if quantity in known}
    return bool(open_stops(SafetyReadings(**values), fuel, limits))


def _open(
    sheets: Sheets, values: Mapping[str, Shown], *, rising: bool = False, may_adjust: bool = True
) -> tuple[OpenStop, ...]:
    on = combustion(sheets)
    known: dict[str, Any] = {
        quantity: value for quantity, value in values.items() if quantity in WATCHED and isinstance(value, Decimal)
    }
    tops = [band.high for band in on.fuel.co2.values() if band.high is not None]
    safety = SafetyReadings(
        **known,
        co_over_range=values.get("co") == "over range",
        ambient_co_over_range=values.get("ambient_co") == "over range",
        co_rising=rising,
        highest_co2=max(tops) if tops else None,
        may_still_adjust=may_adjust and on.appliance.adjustment == "allowed",
    )
    found = open_stops(safety, fuel_of(sheets), limits_in_force(sheets))
    return tuple(stop for stop in found if stop.severity in SEVERE)


STOPS = BurnerStops(over_range=frozenset({"co", "ambient_co"}), called_twice=frozenset({"co"}), rising=("co",))
