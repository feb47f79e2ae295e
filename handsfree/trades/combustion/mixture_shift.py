"""What a set burner does when the gas or the air changes: the fixed venturi and valve keep their openings.

Exact for a ratio valve that holds gas at the pressure of the air, approximate for others. A gas flows as
1/√(relative density), its air need is A: so the air ratio goes with √G/A. The Wobbe-ratio shortcut is the
same for hydrocarbons with inert gas and wrong by two points and more with hydrogen.
"""

from __future__ import annotations

import math

from handsfree.trades.combustion.bounds import require
from handsfree.trades.combustion.fuels import Fuel
from handsfree.trades.combustion.heating_value import gas_properties
from handsfree.trades.combustion.stoichiometry import stoichiometry


def air_ratio_on_other_gas(air_ratio: float, before: Fuel, after: Fuel) -> float:
    """Return the air ratio that a burner set on one gas shows on another. Source: orifice flow."""
    set_at = require("air ratio", air_ratio, "", above=0)
    return set_at * _flow_to_need(after) / _flow_to_need(before)


def air_ratio_at_other_air(air_ratio: float, set_celsius: float, now_celsius: float) -> float:
    """Return the air ratio when only the combustion air's temperature changes: it goes with √(air density)."""
    set_at = require("air ratio", air_ratio, "", above=0)
    before = require("air temperature", set_celsius, "Cel", least=-50, most=60) + 273.15
    now = require("air temperature", now_celsius, "Cel", least=-50, most=60) + 273.15
    return set_at * math.sqrt(before / now)


def _flow_to_need(fuel: Fuel) -> float:
    return math.sqrt(gas_properties(fuel).relative_density) / stoichiometry(fuel).air
