"""Stop limits in force on a visit, and which of them the readings so far have passed."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from handsfree.events.decisions import ReadingRecord
from handsfree.trades.combustion.fuels import Fuel, fuel_named
from handsfree.trades.combustion.sheets import CombustionSheets, combustion
from handsfree.trades.combustion.stop_limits import OpenStop, SafetyReadings, StopLimits, open_stops
from handsfree.trades.sheets import Sheets

OVER_RANGE = "over range"
NO_READING = "no reading"

WATCHED = frozenset({"co", "o2", "co2", "flue_temperature", "ambient_co", "air_duct_o2", "air_duct_co2"})
"""Quantities held to the stop limits at once. Supply pressures have a verdict of their own, before any screw."""

MAKERS_CO = {"air-free": "maker-air-free-co", "as measured": "maker-co", "ratio": "maker-co-ratio"}
"""The basis of the maker's CO limit -> the stop limit it loads."""

SEVERE = frozenset({"evacuate", "burner off"})


def fuel_of(sheets: Sheets) -> Fuel:
    """Return the job's fuel."""
    return fuel_named(combustion(sheets).job.fuel.replace("-", " "))


def limits_in_force(sheets: CombustionSheets) -> StopLimits:
    """Return the defaults with the maker's limits loaded and the job's tighter ones applied."""
    limits = StopLimits()
    co, hot = sheets.fuel.co, sheets.appliance.flue_temperature_high
    if co is not None:
        limits = limits.tightened(MAKERS_CO[co.basis], co.high, sheets.appliance.source(co.page))
    if hot is not None and hot.high is not None:
        limits = limits.tightened("flue-temperature", hot.high, sheets.appliance.source(hot.page))
    for name, value in sheets.job.tighter.items():
        limits = limits.tightened(name, value, "job sheet")
    return limits


def stops_open(
    sheets: Sheets, values: Mapping[str, ReadingRecord], *, rising: bool = False, may_adjust: bool = True
) -> tuple[OpenStop, ...]:
    """Return the stops that these values open, the gravest first; those that only ask to search are left out."""
    if not isinstance(sheets, CombustionSheets):
        return ()
    known: dict[str, Any] = {
        quantity: Decimal(reading.value)
        for quantity, reading in values.items()
        if quantity in WATCHED and reading.value not in {OVER_RANGE, NO_READING}
    }
    bands = sheets.fuel.co2.values()
    tops = [band.high for band in bands if band.high is not None]
    safety = SafetyReadings(
        **known,
        co_over_range="co" in values and values["co"].value == OVER_RANGE,
        ambient_co_over_range="ambient_co" in values and values["ambient_co"].value == OVER_RANGE,
        co_rising=rising,
        highest_co2=max(tops) if tops else None,
        may_still_adjust=may_adjust and sheets.appliance.adjustment == "allowed",
    )
    found = open_stops(safety, fuel_of(sheets), limits_in_force(sheets))
    return tuple(stop for stop in found if stop.severity in SEVERE)
