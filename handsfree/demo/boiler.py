"""The demo's invented boiler and analyser: two adjusters, a burner that needs minutes to settle, a flue.

Nothing here is a real appliance. The numbers are chosen so that the as-found setting is too lean at
maximum, one adjuster moves the other rate a little, and the first readings are still moving.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.trades.combustion.flue_gas import oxygen_from_carbon_dioxide
from handsfree.trades.combustion.fuels import Fuel

TENTH = Decimal("0.1")
WHOLE = Decimal(1)

RICHER_PER_EIGHTH = {"maximum": 0.35, "minimum": 0.30}
"""Points of CO2 for an eighth of a turn towards richer."""

OFFSET_MOVES_MAXIMUM = 0.05
"""Points of CO2 at maximum for an eighth of the adjuster for minimum."""

LAG_SECONDS = {"cold": 110.0, "burner": 60.0, "turn": 35.0}
"""Time constants in seconds: a cold heat exchanger, a changed rate, a turned adjuster with the analyser's cell."""


@dataclass
class InventedBoiler:
    """Answers what an instrument would show at a time of the visit, in seconds."""

    fuel: Fuel
    seed: int = 7
    co2: dict[str, float] = field(default_factory=lambda: {"maximum": 8.55, "minimum": 9.2})
    changed_at: float = 0.0
    lag: float = LAG_SECONDS["cold"]
    off_by: float = 3.0
    _noise: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._noise = random.Random(self.seed)  # noqa: S311 - a scenario, not a secret

    def changes(self, seconds: float, off_by: float, lag: str) -> None:
        """Let the readings start from a distance again: a rate, an adjuster or the burner was changed."""
        self.changed_at, self.off_by, self.lag = seconds, off_by, LAG_SECONDS[lag]

    def turn(self, rate: str, eighths_richer: int, seconds: float) -> None:
        """Turn an adjuster."""
        before = self.co2[rate]
        self.co2[rate] += RICHER_PER_EIGHTH[rate] * eighths_richer
        if rate == "minimum":
            self.co2["maximum"] += OFFSET_MOVES_MAXIMUM * eighths_richer
        self.changes(seconds, before - self.co2[rate], "turn")

    def reads(self, quantity: str, rate: str, seconds: float) -> Decimal:
        """Return what the display shows."""
        moving = self.off_by * math.exp(-max(0.0, seconds - self.changed_at) / self.lag)
        co2 = self.co2[rate] - moving
        shown = {
            "co2": co2 + self._noise.gauss(0, 0.015),
            "o2": oxygen_from_carbon_dioxide(self.fuel, co2) + self._noise.gauss(0, 0.02),
            "co": 24 + 14 * max(0.0, co2 - 8.8) + self._noise.gauss(0, 0.6),
            "flue_temperature": (58 if rate == "maximum" else 44) - 6 * moving,
            "fan_speed": 5400.0 if rate == "maximum" else 1450.0,
            "air_temperature": 19.0,
            "flow_temperature": 62.0,
            "return_temperature": 41.0,
        }.get(quantity, FIXED.get(quantity, 0.0))
        return Decimal(repr(round(shown, 3))).quantize(STEPS.get(quantity, WHOLE))


FIXED = {
    "ambient_co": 0.0,
    "standing_pressure": 21.5,
    "working_pressure": 19.8,
    "lockup_pressure": 22.6,
    "meter_pressure": 20.6,
    "air_duct_o2": 20.9,
    "air_duct_co2": 0.05,
    "offset_pressure": -0.04,
    "vent_pressure": 0.12,
    "pressure_drop": 0.8,
    "water_pressure": 1.5,
    "flame_current": 6.2,
    "reset_slope": 1.5,
    "set_point": 55.0,
    "gas_volume_metric": 0.05,
    "light_ups": 5.0,
}
STEPS = {
    "co2": TENTH,
    "o2": TENTH,
    "standing_pressure": TENTH,
    "working_pressure": TENTH,
    "lockup_pressure": TENTH,
    "meter_pressure": TENTH,
    "air_duct_o2": TENTH,
    "air_duct_co2": Decimal("0.01"),
    "offset_pressure": Decimal("0.01"),
    "vent_pressure": Decimal("0.01"),
    "pressure_drop": TENTH,
    "water_pressure": TENTH,
    "flame_current": TENTH,
    "reset_slope": TENTH,
    "gas_volume_metric": Decimal("0.001"),
}
