"""The limits at which work stops: air-free CO, CO/CO2, CO in the room, flue temperature, gas pressure.

Each limit has a source and is a default. Job sheet, procedure and local code may only tighten it. An open
stop is told as an action and is never weighed against how likely the reading was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from typing import Literal

from handsfree.combustion.flue_gas import (
    AIR_FREE_OXYGEN,
    air_free_carbon_monoxide,
    air_free_carbon_monoxide_from_carbon_dioxide,
    carbon_monoxide_ratio,
    ultimate_carbon_dioxide,
)
from handsfree.combustion.fuels import Fuel
from handsfree.problem import Problem

Severity = Literal["evacuate", "burner off", "hold"]


@dataclass(frozen=True)
class StopLimit:
    """One limit: the work stops when the value passes it on the named side."""

    quantity: str
    value: Decimal
    unit: str
    """UCUM code."""
    stops: Literal["above", "at or above", "below"]
    severity: Severity
    action: str
    """What the tool says first."""
    source: str

    def passed_by(self, value: Decimal) -> bool:
        """Say whether the value is on the wrong side."""
        if self.stops == "above":
            return value > self.value
        return value >= self.value if self.stops == "at or above" else value < self.value

    def tightened(self, value: Decimal, source: str) -> StopLimit:
        """Return the limit moved to the strict side; moving it the other way is a Problem."""
        looser = value < self.value if self.stops == "below" else value > self.value
        if not value.is_finite() or looser:
            raise Problem(
                f"the stop limit for {self.quantity} may only be tightened: {value} {self.unit} "
                f"is looser than {self.value} {self.unit} ({self.source})"
            )
        return StopLimit(self.quantity, value, self.unit, self.stops, self.severity, self.action, source)


DEFAULTS: Mapping[str, StopLimit] = {
    limit.quantity: limit
    for limit in (
        StopLimit(
            "ambient CO evacuation",
            Decimal(100),
            "[ppm]",
            "at or above",
            "evacuate",
            "CO in the room. Everyone out.",
            "trade journal on combustion testing; testing guideline",
        ),
        StopLimit(
            "ambient CO",
            Decimal(35),
            "[ppm]",
            "above",
            "burner off",
            "CO in the room. Burner off. Ventilate.",
            "US weatherization work specification; NIOSH 35 ppm",
        ),
        StopLimit(
            "ambient CO search",
            Decimal(10),
            "[ppm]",
            "at or above",
            "hold",
            "CO in the room. Find the source.",
            "testing guideline",
        ),
        StopLimit(
            "air-free CO",
            Decimal(400),
            "[ppm]",
            "above",
            "burner off",
            "CO too high. Burner off.",
            "ANSI Z21 series ceiling, 400 ppm air-free; trade journal",
        ),
        StopLimit(
            "CO/CO2 ratio",
            Decimal("0.008"),
            "1",
            "above",
            "burner off",
            "CO ratio too high. Burner off.",
            "trade text on CO/CO2: above 0.008 not to be left in use",
        ),
        StopLimit(
            "rising CO",
            Decimal(100),
            "[ppm]",
            "at or above",
            "burner off",
            "CO rising. Burner off.",
            "trade journal: 100 to 400 ppm and rising, shut down",
        ),
        StopLimit(
            "flue O2",
            Decimal(2),
            "%",
            "below",
            "burner off",
            "O2 very low. Mixture may be rich. Burner off.",
            "balance of atoms: CO2 repeats on the rich side",
        ),
        StopLimit(
            "air intake O2",
            Decimal("20.6"),
            "%",
            "below",
            "burner off",
            "Flue gas in the air intake. Burner off.",
            "UK commissioning flow-chart as reproduced by a maker",
        ),
        StopLimit(
            "air intake CO2",
            Decimal("0.2"),
            "%",
            "above",
            "burner off",
            "Flue gas in the air intake. Burner off.",
            "UK commissioning flow-chart as reproduced by a maker",
        ),
    )
}
"""The limits that hold for every appliance. Those of one model have no default and must be given."""

_MODEL_LIMITS: Mapping[str, tuple[str, Literal["above", "below"], str]] = {
    "maker's CO": ("[ppm]", "above", "CO over the maker's limit. Burner off."),
    "maker's air-free CO": ("[ppm]", "above", "CO over the maker's limit. Burner off."),
    "flue temperature": ("Cel", "above", "Flue too hot. Burner off."),
    "highest gas pressure": ("mbar", "above", "Gas pressure high. Burner off. Supply first."),
    "lowest gas pressure": ("mbar", "below", "Gas pressure low. Burner off. Supply first."),
}


@dataclass(frozen=True)
class StopLimits:
    """The limits in force: the defaults, tightened, and those of the model where they are loaded."""

    limits: Mapping[str, StopLimit] = field(default_factory=lambda: dict(DEFAULTS))

    def tightened(self, quantity: str, value: Decimal, source: str) -> StopLimits:
        """Return these limits with one tightened, or loaded when it is one of the model's."""
        if quantity in self.limits:
            limit = self.limits[quantity].tightened(value, source)
        elif quantity in _MODEL_LIMITS:
            unit, stops, action = _MODEL_LIMITS[quantity]
            if not value.is_finite():
                raise Problem(f"the limit for {quantity} is not a number: {value}")
            limit = StopLimit(quantity, value, unit, stops, "burner off", action, source)
        else:
            known = ", ".join([*self.limits, *(name for name in _MODEL_LIMITS if name not in self.limits)])
            raise Problem(f"there is no stop limit for '{quantity}'", remedy=f"known: {known}")
        return StopLimits({**self.limits, quantity: limit})

    def missing(self) -> tuple[str, ...]:
        """Return the model's limits that are not loaded: no limit loaded, see the manual."""
        return tuple(name for name in _MODEL_LIMITS if name not in self.limits)


@dataclass(frozen=True)
class SafetyReadings:
    """What is known of the appliance now, each None until it was read; a field is the newest reading."""

    flue_carbon_monoxide: Decimal | None = None
    """ppm, dry, as measured."""
    flue_oxygen: Decimal | None = None
    flue_carbon_dioxide: Decimal | None = None
    flue_temperature: Decimal | None = None
    """Degrees Celsius."""
    ambient_carbon_monoxide: Decimal | None = None
    intake_oxygen: Decimal | None = None
    intake_carbon_dioxide: Decimal | None = None
    static_gas_pressure: Decimal | None = None
    """mbar, gauge."""
    running_gas_pressure: Decimal | None = None
    carbon_monoxide_over_range: bool = False
    """The analyser shows over range for the flue or the room."""
    carbon_monoxide_rising: bool = False
    """The readings since the last change rise by the rule of `measurement.settling.rising`."""
    highest_carbon_dioxide: Decimal | None = None
    """Top of the maker's CO2 band, for the sign of a rich mixture."""
    lowest_oxygen: Decimal | None = None
    """Bottom of the maker's O2 band: at or above it, high CO must not be answered by leaning."""
    may_still_adjust: bool = False
    """Adjustment is allowed and not used up: CO over the maker's limit is then a verdict, not yet a stop."""

    def __post_init__(self) -> None:
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, Decimal) and not value.is_finite():
                raise Problem(f"{each.name.replace('_', ' ')} is not a number: {value}")


@dataclass(frozen=True)
class OpenStop:
    """A limit that is passed: what to do, and the numbers that say so."""

    quantity: str
    severity: Severity
    action: str
    value: str
    limit: str
    source: str


def air_free(readings: SafetyReadings, fuel: Fuel) -> Decimal | None:
    """Return the flue's CO air-free, to 0.1 ppm, by O2, else by CO2, else as measured (never more than true).

    A pair that cannot be used (O2 of plain air, CO2 beyond the fuel) falls back to the CO as measured.
    """
    ppm, oxygen, carbon_dioxide = (
        readings.flue_carbon_monoxide,
        readings.flue_oxygen,
        readings.flue_carbon_dioxide,
    )
    if ppm is None:
        return None
    value = float(ppm)
    if oxygen is not None and 0 <= float(oxygen) < AIR_FREE_OXYGEN:
        value = air_free_carbon_monoxide(value, float(oxygen))
    elif carbon_dioxide is not None and 0.1 < float(carbon_dioxide) <= ultimate_carbon_dioxide(fuel):
        value = air_free_carbon_monoxide_from_carbon_dioxide(fuel, value, float(carbon_dioxide))
    return Decimal(f"{value:.1f}")


def _ratio(readings: SafetyReadings) -> Decimal | None:
    ppm, carbon_dioxide = readings.flue_carbon_monoxide, readings.flue_carbon_dioxide
    if ppm is None or carbon_dioxide is None or carbon_dioxide <= 0:
        return None
    return Decimal(f"{carbon_monoxide_ratio(float(ppm), float(carbon_dioxide)):.5f}")


def open_stops(readings: SafetyReadings, fuel: Fuel, limits: StopLimits | None = None) -> tuple[OpenStop, ...]:
    """Return every stop that these readings open, the gravest first; none when nothing is known against them.

    Air-free limits and ratio limits are both tried: neither stands for the other (0.004 is 470 ppm air-free).
    """
    in_force = (limits or StopLimits()).limits
    r = readings
    free = air_free(r, fuel)
    rich = r.highest_carbon_dioxide is not None and (r.flue_carbon_dioxide or 0) > r.highest_carbon_dioxide
    lean_already = r.lowest_oxygen is not None and r.flue_oxygen is not None and r.flue_oxygen >= r.lowest_oxygen
    maker_stops = lean_already or not r.may_still_adjust
    measured: list[tuple[str, Decimal | None]] = [
        ("ambient CO evacuation", r.ambient_carbon_monoxide),
        ("ambient CO", r.ambient_carbon_monoxide),
        ("ambient CO search", r.ambient_carbon_monoxide),
        ("air-free CO", free),
        ("CO/CO2 ratio", _ratio(r)),
        ("rising CO", r.flue_carbon_monoxide if r.carbon_monoxide_rising else None),
        ("maker's CO", r.flue_carbon_monoxide if maker_stops else None),
        ("maker's air-free CO", free if maker_stops else None),
        ("flue O2", r.flue_oxygen),
        ("air intake O2", r.intake_oxygen),
        ("air intake CO2", r.intake_carbon_dioxide),
        ("flue temperature", r.flue_temperature),
        *(
            (name, pressure)
            for name in ("highest gas pressure", "lowest gas pressure")
            for pressure in (r.static_gas_pressure, r.running_gas_pressure)
        ),
    ]
    stops: dict[str, OpenStop] = {}
    if r.carbon_monoxide_over_range:
        stops["over range"] = OpenStop(
            "CO over range",
            "burner off",
            "Over range. Burner off now.",
            "over range",
            "the analyser's range",
            "common practice, no source",
        )
    for name, value in measured:
        limit = in_force.get(name)
        if limit is not None and value is not None and limit.passed_by(value):
            shown = f"{limit.stops} {limit.value} {limit.unit}"
            stops.setdefault(
                name, OpenStop(name, limit.severity, limit.action, f"{value} {limit.unit}", shown, limit.source)
            )
    if rich and r.carbon_monoxide_rising:
        stops["rich"] = OpenStop(
            "CO2 above its band with CO rising",
            "burner off",
            "Mixture may be rich. Burner off.",
            f"{r.flue_carbon_dioxide} %",
            f"above {r.highest_carbon_dioxide} %",
            "balance of atoms: CO2 repeats on the rich side",
        )
    order = ("evacuate", "burner off", "hold")
    ranked = sorted(stops.values(), key=lambda stop: order.index(stop.severity))
    ambient = [stop for stop in ranked if stop.quantity.startswith("ambient")]
    return tuple(stop for stop in ranked if stop not in ambient[1:])
