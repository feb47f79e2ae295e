"""Altitude: the air's pressure and density, and what a maker's derating does to the rated input.

CO2, O2 and air-free CO do not change with altitude at one air ratio: they are volume fractions. Metered gas
holds less, water condenses at a lower temperature, and a galvanic O2 cell needs its zero on site. Derating is
the maker's table; the two general rules here are common practice where there is none, and must be named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from handsfree.problem import Problem
from handsfree.trades.combustion.bounds import require

FOOT = 0.3048
_LAPSE = 0.0065
_SEA_LEVEL_KELVIN = 288.15
_EXPONENT = 5.255877
"""g·M/(R·lapse) of the US Standard Atmosphere 1976."""


def standard_pressure(metres: float) -> float:
    """Return the standard pressure in kPa at an altitude (US Standard Atmosphere 1976, troposphere)."""
    return 101.325 * math.pow(_temperature_ratio(metres), _EXPONENT)


def density_ratio(metres: float) -> float:
    """Return standard air density over that at sea level."""
    return math.pow(_temperature_ratio(metres), _EXPONENT - 1)


def _temperature_ratio(metres: float) -> float:
    height = require("altitude", metres, "m", least=-500, most=6000)
    return 1 - _LAPSE * height / _SEA_LEVEL_KELVIN


@dataclass(frozen=True)
class MakerTable:
    """A maker's derating: factor on the rated input up to each altitude in metres, lowest first."""

    rows: tuple[tuple[float, float], ...]
    source: str

    def factor(self, metres: float) -> float:
        """Return the factor at an altitude; above the last row is a Problem."""
        for highest, factor in self.rows:
            if metres <= highest:
                return factor
        raise Problem(f"the maker's table ends below {metres:g} m", remedy=f"see {self.source}")


GeneralRule = Literal["United States", "Canada"]


def general_factor(metres: float, rule: GeneralRule) -> float:
    """Return the factor of a general rule, for want of a maker's table: common practice, named by country.

    United States: 4 % for each 1000 ft above sea level, once above 2000 ft (ANSI Z223.1 / NFPA 54). Canada:
    10 % from 2000 to 4500 ft (CSA B149.1); above it a further 4 % for each 1000 ft over 4500, multiplied.
    """
    feet = require("altitude", metres, "m", least=-500, most=6000) / FOOT
    if feet <= 2000:
        return 1.0
    if rule == "United States":
        return 1 - 0.04 * feet / 1000
    return 0.90 if feet <= 4500 else 0.90 * (1 - 0.04 * (feet - 4500) / 1000)


def derated(kilowatts: float, metres: float, by: MakerTable | GeneralRule) -> float:
    """Return the rated input at an altitude, by the maker's table or a named general rule."""
    power = require("rated input", kilowatts, "kW", above=0)
    return power * (by.factor(metres) if isinstance(by, MakerTable) else general_factor(metres, by))
