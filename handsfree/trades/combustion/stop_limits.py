"""The limits at which work stops: air-free CO, CO/CO2, CO in the room, flue temperature, gas pressure.

Each limit has a source and is a default. Job sheet, procedure and local code may only tighten it. An open
stop is never weighed against how likely the reading was. What is then said stands in the language's file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from typing import Literal

from handsfree.problem import Problem
from handsfree.trades.combustion.flue_gas import (
    AIR_FREE_OXYGEN,
    air_free_carbon_monoxide,
    air_free_carbon_monoxide_from_carbon_dioxide,
    carbon_monoxide_ratio,
    oxygen_from_carbon_dioxide,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.fuels import Fuel
from handsfree.trades.stops import GRAVITY, OpenStop, StopLimit

DEFAULTS: Mapping[str, StopLimit] = {
    limit.name: limit
    for limit in (
        StopLimit(
            "ambient-co-evacuate",
            Decimal(100),
            "[ppm]",
            "at or above",
            "evacuate",
            "trade journal on combustion testing; testing guideline",
        ),
        StopLimit(
            "ambient-co",
            Decimal(35),
            "[ppm]",
            "above",
            "off",
            "US weatherization work specification; NIOSH 35 ppm",
        ),
        StopLimit(
            "ambient-co-search",
            Decimal(10),
            "[ppm]",
            "at or above",
            "hold",
            "testing guideline",
        ),
        StopLimit(
            "air-free-co",
            Decimal(400),
            "[ppm]",
            "above",
            "off",
            "ANSI Z21 series ceiling, 400 ppm air-free; trade journal",
        ),
        StopLimit(
            "co-ratio",
            Decimal("0.008"),
            "1",
            "above",
            "off",
            "trade text on CO/CO2: above 0.008 not to be left in use",
        ),
        StopLimit(
            "rising-co",
            Decimal(100),
            "[ppm]",
            "at or above",
            "off",
            "trade journal: 100 to 400 ppm and rising, shut down",
        ),
        StopLimit(
            "flue-o2",
            Decimal(2),
            "%",
            "below",
            "off",
            "balance of atoms: CO2 repeats on the rich side",
        ),
        StopLimit(
            "air-duct-o2",
            Decimal("20.6"),
            "%",
            "below",
            "off",
            "UK commissioning flow-chart as reproduced by a maker",
        ),
        StopLimit(
            "air-duct-co2",
            Decimal("0.2"),
            "%",
            "above",
            "off",
            "UK commissioning flow-chart as reproduced by a maker",
        ),
    )
}
"""The limits that hold for every appliance. Those of one model have no default and must be given."""

_MODEL_LIMITS: Mapping[str, tuple[str, Literal["above", "below"]]] = {
    "maker-co": ("[ppm]", "above"),
    "maker-air-free-co": ("[ppm]", "above"),
    "maker-co-ratio": ("1", "above"),
    "flue-temperature": ("Cel", "above"),
    "highest-standing-pressure": ("mbar", "above"),
    "lowest-standing-pressure": ("mbar", "below"),
    "highest-working-pressure": ("mbar", "above"),
    "lowest-working-pressure": ("mbar", "below"),
}
"""Limits that only the maker's data can give: unit and side."""


@dataclass(frozen=True)
class StopLimits:
    """The limits in force: the defaults, tightened, and those of the model where they are loaded."""

    limits: Mapping[str, StopLimit] = field(default_factory=lambda: dict(DEFAULTS))

    def tightened(self, name: str, value: Decimal, source: str) -> StopLimits:
        """Return these limits with one tightened, or loaded when it is one of the model's."""
        if name in self.limits:
            limit = self.limits[name].tightened(value, source)
        elif name in _MODEL_LIMITS:
            unit, stops = _MODEL_LIMITS[name]
            if not value.is_finite():
                raise Problem(f"the limit {name} is not a number: {value}")
            limit = StopLimit(name, value, unit, stops, "off", source)
        else:
            known = ", ".join({**self.limits, **_MODEL_LIMITS})
            raise Problem(f"there is no stop limit '{name}'", remedy=f"known: {known}")
        return StopLimits({**self.limits, name: limit})

    def missing(self) -> tuple[str, ...]:
        """Return the model's limits that are not loaded: no limit loaded, see the manual."""
        return tuple(name for name in _MODEL_LIMITS if name not in self.limits)


@dataclass(frozen=True)
class SafetyReadings:
    """What is known of the appliance now: the newest reading of each quantity, None until it was read."""

    co: Decimal | None = None
    """ppm, dry, as measured in the flue."""
    o2: Decimal | None = None
    co2: Decimal | None = None
    flue_temperature: Decimal | None = None
    """Degrees Celsius."""
    ambient_co: Decimal | None = None
    air_duct_o2: Decimal | None = None
    air_duct_co2: Decimal | None = None
    standing_pressure: Decimal | None = None
    """mbar, gauge."""
    working_pressure: Decimal | None = None
    co_over_range: bool = False
    ambient_co_over_range: bool = False
    co_rising: bool = False
    """The flue's CO since the last change rises by the rule of `measurement.settling.rising`."""
    highest_co2: Decimal | None = None
    """Top of the maker's CO2 band at this rate: above it with CO rising the mixture may be rich, and with O2
    at or above what belongs to it high CO must not be answered by leaning."""
    may_still_adjust: bool = False
    """Adjustment is allowed and not used up: CO over the maker's limit is then a verdict, not yet a stop."""

    def __post_init__(self) -> None:
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, Decimal) and not value.is_finite():
                raise Problem(f"{each.name.replace('_', ' ')} is not a number: {value}")


def air_free(readings: SafetyReadings, fuel: Fuel) -> Decimal | None:
    """Return the flue's CO air-free, to 0.1 ppm, by O2, else by CO2, else as measured (never more than true).

    A reading that cannot be used (O2 of plain air, CO2 beyond the fuel) is passed over in that order.
    """
    if readings.co is None or readings.co <= 0:
        return readings.co
    value = float(readings.co)
    if readings.o2 is not None and 0 <= float(readings.o2) < AIR_FREE_OXYGEN:
        value = air_free_carbon_monoxide(value, float(readings.o2))
    elif readings.co2 is not None and 0.1 < float(readings.co2) <= ultimate_carbon_dioxide(fuel):
        value = air_free_carbon_monoxide_from_carbon_dioxide(fuel, value, float(readings.co2))
    return Decimal(f"{value:.1f}")


def _ratio(readings: SafetyReadings) -> Decimal | None:
    if readings.co is None or readings.co < 0 or readings.co2 is None or readings.co2 <= 0:
        return None
    return Decimal(f"{carbon_monoxide_ratio(float(readings.co), float(readings.co2)):.5f}")


def _lean_enough(readings: SafetyReadings, fuel: Fuel) -> bool:
    """Say whether O2 is already at or above the maker's band, so that high CO is no sign of too little air."""
    top = readings.highest_co2
    if top is None or readings.o2 is None or not 0.1 < float(top) <= ultimate_carbon_dioxide(fuel):
        return False
    return readings.o2 >= Decimal(f"{oxygen_from_carbon_dioxide(fuel, float(top)):.2f}")


def open_stops(readings: SafetyReadings, fuel: Fuel, limits: StopLimits | None = None) -> tuple[OpenStop, ...]:
    """Return every stop that these readings open, the gravest first; none when nothing is known against them.

    Air-free limits and ratio limits are both tried: neither stands for the other (0.004 is 470 ppm air-free).
    """
    in_force = (limits or StopLimits()).limits
    r = readings
    free, ratio = air_free(r, fuel), _ratio(r)
    beyond_adjustment = not r.may_still_adjust or _lean_enough(r, fuel)
    measured: tuple[tuple[str, Decimal | None], ...] = (
        ("ambient-co-evacuate", r.ambient_co),
        ("ambient-co", r.ambient_co),
        ("ambient-co-search", r.ambient_co),
        ("air-free-co", free),
        ("co-ratio", ratio),
        ("rising-co", r.co if r.co_rising else None),
        ("maker-co", r.co if beyond_adjustment else None),
        ("maker-air-free-co", free if beyond_adjustment else None),
        ("maker-co-ratio", ratio if beyond_adjustment else None),
        ("flue-o2", r.o2),
        ("air-duct-o2", r.air_duct_o2),
        ("air-duct-co2", r.air_duct_co2),
        ("flue-temperature", r.flue_temperature),
        ("highest-standing-pressure", r.standing_pressure),
        ("lowest-standing-pressure", r.standing_pressure),
        ("highest-working-pressure", r.working_pressure),
        ("lowest-working-pressure", r.working_pressure),
    )
    stops = [
        limit.opened_by(value)
        for name, value in measured
        if value is not None and (limit := in_force.get(name)) is not None and limit.passed_by(value)
    ]
    stops += _signs(r)
    ranked = sorted(stops, key=lambda stop: GRAVITY.index(stop.severity))
    gravest_in_room = next((stop for stop in ranked if stop.name.startswith("ambient")), None)
    return tuple(s for s in ranked if not s.name.startswith("ambient") or s is gravest_in_room)


def _signs(r: SafetyReadings) -> list[OpenStop]:
    """Return the stops that need no number of their own: over range, and the look of a rich mixture."""
    signs = []
    beyond, source = "the analyser's range", "over range is a reading: common practice, no source"
    if r.ambient_co_over_range:
        signs.append(OpenStop("ambient-co-over-range", "evacuate", "over range", beyond, source))
    if r.co_over_range:
        signs.append(OpenStop("co-over-range", "off", "over range", beyond, source))
    if r.co_rising and r.co2 is not None and r.highest_co2 is not None and r.co2 > r.highest_co2:
        signs.append(
            OpenStop(
                "rich-mixture",
                "off",
                f"{r.co2} %",
                f"above {r.highest_co2} % with CO rising",
                "balance of atoms: CO2 repeats on the rich side",
            )
        )
    return signs
