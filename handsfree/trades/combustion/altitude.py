"""Altitude: the air's pressure.

CO2, O2 and air-free CO do not change with altitude at one air ratio: they are volume fractions. Metered gas
holds less, water condenses at a lower temperature, and a galvanic O2 cell needs its zero on site. How far an
input is derated stands in the maker's manual.
"""

from __future__ import annotations

import math

from handsfree.trades.combustion.bounds import require

_LAPSE = 0.0065
_SEA_LEVEL_KELVIN = 288.15
_EXPONENT = 5.255877
"""g·M/(R·lapse) of the US Standard Atmosphere 1976."""


def standard_pressure(metres: float) -> float:
    """Return the standard pressure in kPa at an altitude (US Standard Atmosphere 1976, troposphere)."""
    height = require("altitude", metres, "m", least=-500, most=6000)
    return 101.325 * math.pow(1 - _LAPSE * height / _SEA_LEVEL_KELVIN, _EXPONENT)
