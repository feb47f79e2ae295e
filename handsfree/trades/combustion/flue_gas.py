"""What the analyser's percentages say: air ratio, air-free CO, the CO/CO2 ratio, and which fuel fits.

Percentages are volume percent of the dry gas, carbon monoxide is ppm of the dry gas. Everything here takes
the lean side for granted: the same CO2 also occurs with too little air, so a CO2 alone never proves a
setting; O2 and CO must be read too. A sample diluted with air keeps its implied fuel, so the pair of CO2
and O2 cannot show a leak at the probe; the CO/CO2 ratio is immune to it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handsfree.problem import Problem
from handsfree.trades.combustion.bounds import require
from handsfree.trades.combustion.fuels import Fuel
from handsfree.trades.combustion.stoichiometry import AIR_CARBON_DIOXIDE, AIR_OXYGEN, stoichiometry

AIR_FREE_OXYGEN = 20.9
"""Percent O2 of the trade's air-free formula; limits 'air-free' are defined with it."""

_AIR_OXYGEN_PERCENT = 100 * AIR_OXYGEN
_AIR_CARBON_DIOXIDE_PERCENT = 100 * AIR_CARBON_DIOXIDE


def _oxygen(percent: float) -> float:
    return require("O2", percent, "%", least=0, below=_AIR_OXYGEN_PERCENT)


def ultimate_carbon_dioxide(fuel: Fuel) -> float:
    """Return the highest dry CO2 in percent, that of complete combustion without excess air."""
    s = stoichiometry(fuel)
    return 100 * s.carbon_dioxide / s.dry_flue


def _carbon_dioxide(fuel: Fuel, percent: float) -> float:
    if fuel.elements.carbon == 0:
        raise Problem(f"{fuel.name} holds no carbon: its CO2 tells nothing", remedy="give O2")
    ultimate = ultimate_carbon_dioxide(fuel)
    value = require("CO2", percent, "%", above=_AIR_CARBON_DIOXIDE_PERCENT)
    if value > ultimate:
        raise Problem(
            f"CO2 {value:g} % cannot be on {fuel.name}: its ultimate CO2 is {ultimate:.2f} %",
            remedy="check the reading and the fuel",
        )
    return value


def air_ratio_from_oxygen(fuel: Fuel, oxygen: float) -> float:
    """Return air supplied over air needed from dry O2: 1 + (dry flue / air)·O2/(20.946 - O2).

    Source: balance of atoms. The shortcut 20.9/(20.9 - O2) takes dry flue for air and is wrong for gases.
    """
    value, s = _oxygen(oxygen), stoichiometry(fuel)
    return 1 + s.dry_flue / s.air * value / (_AIR_OXYGEN_PERCENT - value)


def air_ratio_from_carbon_dioxide(fuel: Fuel, carbon_dioxide: float) -> float:
    """Return the air ratio of the lean side from dry CO2 (a rich mixture can show the same CO2)."""
    value, s = _carbon_dioxide(fuel, carbon_dioxide) / 100, stoichiometry(fuel)
    return 1 + (s.carbon_dioxide - value * s.dry_flue) / (s.air * (value - AIR_CARBON_DIOXIDE))


def excess_air(air_ratio: float) -> float:
    """Return excess air in percent."""
    return 100 * (air_ratio - 1)


def carbon_dioxide_from_oxygen(fuel: Fuel, oxygen: float) -> float:
    """Return the dry CO2 that belongs to a dry O2: stoichiometric flue gas mixed with air."""
    share_of_air = _oxygen(oxygen) / _AIR_OXYGEN_PERCENT
    return ultimate_carbon_dioxide(fuel) * (1 - share_of_air) + _AIR_CARBON_DIOXIDE_PERCENT * share_of_air


def oxygen_from_carbon_dioxide(fuel: Fuel, carbon_dioxide: float) -> float:
    """Return the dry O2 that belongs to a dry CO2 on the lean side."""
    value, ultimate = _carbon_dioxide(fuel, carbon_dioxide), ultimate_carbon_dioxide(fuel)
    return _AIR_OXYGEN_PERCENT * (ultimate - value) / (ultimate - _AIR_CARBON_DIOXIDE_PERCENT)


def air_free_carbon_monoxide(ppm: float, oxygen: float) -> float:
    """Return CO as if no excess air diluted it: CO·20.9/(20.9 - O2), the formula air-free limits are set by."""
    value = require("CO", ppm, "ppm", least=0)
    return value * AIR_FREE_OXYGEN / (AIR_FREE_OXYGEN - require("O2", oxygen, "%", least=0, below=AIR_FREE_OXYGEN))


def air_free_carbon_monoxide_from_carbon_dioxide(fuel: Fuel, ppm: float, carbon_dioxide: float) -> float:
    """Return air-free CO by way of CO2: CO·(ultimate CO2)/CO2."""
    value = require("CO", ppm, "ppm", least=0)
    return value * ultimate_carbon_dioxide(fuel) / _carbon_dioxide(fuel, carbon_dioxide)


def carbon_monoxide_ratio(ppm: float, carbon_dioxide: float) -> float:
    """Return CO/CO2, both as volume fractions: (ppm·10⁻⁶)/(CO2 %·10⁻²). No fuel enters it."""
    value = require("CO", ppm, "ppm", least=0)
    return value / 1e4 / require("CO2", carbon_dioxide, "%", above=0, most=100)


@dataclass(frozen=True)
class ImpliedFuel:
    """The ultimate CO2 that a pair of dry CO2 and O2 implies, with its standard uncertainty, in percent."""

    ultimate: float
    standard_uncertainty: float


def implied_fuel(
    carbon_dioxide: float,
    oxygen: float,
    carbon_dioxide_uncertainty: float = 0.0,
    oxygen_uncertainty: float = 0.0,
) -> ImpliedFuel:
    """Return the ultimate CO2 of the fuel that would give this pair (independent errors, JCGM 100 5.1.2)."""
    co2 = require("CO2", carbon_dioxide, "%", least=0, most=100)
    left = 1 - _oxygen(oxygen) / _AIR_OXYGEN_PERCENT
    ultimate = (co2 - _AIR_CARBON_DIOXIDE_PERCENT * (1 - left)) / left
    by_oxygen = (ultimate - _AIR_CARBON_DIOXIDE_PERCENT) / (left * _AIR_OXYGEN_PERCENT)
    return ImpliedFuel(ultimate, math.hypot(carbon_dioxide_uncertainty / left, by_oxygen * oxygen_uncertainty))


def pair_residual(fuel: Fuel, carbon_dioxide: float, oxygen: float) -> float:
    """Return measured CO2 minus the CO2 that belongs to the measured O2, in points of CO2."""
    return require("CO2", carbon_dioxide, "%", least=0, most=100) - carbon_dioxide_from_oxygen(fuel, oxygen)


def pair_residual_uncertainty(
    fuel: Fuel, oxygen: float, carbon_dioxide_uncertainty: float, oxygen_uncertainty: float
) -> float:
    """Return the standard uncertainty of that residual: both readings independent, and the fuel's spread.

    For an analyser that computes CO2 from its own O2 cell both shares are those of the displays alone.
    """
    slope = (ultimate_carbon_dioxide(fuel) - _AIR_CARBON_DIOXIDE_PERCENT) / _AIR_OXYGEN_PERCENT
    left = 1 - _oxygen(oxygen) / _AIR_OXYGEN_PERCENT
    return math.hypot(carbon_dioxide_uncertainty, slope * oxygen_uncertainty, fuel.spread / math.sqrt(3) * left)


def milligrams_per_cubic_metre(ppm: float) -> float:
    """Return CO in mg/m3 of dry gas at 0 Cel and 101.325 kPa: molar mass over molar volume."""
    return require("CO", ppm, "ppm", least=0) * 28.0101 / 22.41397
