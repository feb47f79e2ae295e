"""Flue loss and efficiency: the indirect (Siegert) method, and a balance of enthalpy that knows condensation.

The indirect method is fitted to dry stacks: under the dew point it says nothing and is refused. The balance
counts every species, the water that condenses and the heat in the combustion air. Gross and net results
differ by the heat of vaporisation and are never mixed. No loss from the casing is counted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handsfree.problem import Problem
from handsfree.trades.combustion.bounds import require
from handsfree.trades.combustion.enthalpy import liquid_water, sensible
from handsfree.trades.combustion.flue_gas import air_ratio_from_oxygen
from handsfree.trades.combustion.fuels import Fuel
from handsfree.trades.combustion.heating_value import NORMAL, gas_properties
from handsfree.trades.combustion.stoichiometry import AIR_CARBON_DIOXIDE, AIR_OXYGEN, FlueGas, flue_gas
from handsfree.trades.combustion.water import dew_point, saturation_pressure

_ATMOSPHERE = 101.325
_WATER_MOLAR_MASS = 18.01528
_AIR_INERT = 1 - AIR_OXYGEN - AIR_CARBON_DIOXIDE
_ARGON_OF_INERT = 0.00934 / _AIR_INERT
"""Share of argon in what is left of air without oxygen and CO2 (US Standard Atmosphere 1976)."""


@dataclass(frozen=True)
class Siegert:
    """Coefficients of the indirect method: loss = (flue - air)·(A2/(21 - O2) + B)."""

    a2: float
    b: float


SIEGERT: Mapping[str, Siegert] = {
    "natural gas": Siegert(0.66, 0.009),
    "LPG": Siegert(0.63, 0.008),
    "heating oil": Siegert(0.68, 0.007),
    "town gas": Siegert(0.63, 0.011),
    "coke-oven gas": Siegert(0.60, 0.011),
}
"""1. BImSchV annex; the row of coke-oven gas from memory."""

_FAMILY = {
    "methane": "natural gas",
    "natural gas": "natural gas",
    "natural gas with ethane": "natural gas",
    "rich natural gas": "natural gas",
    "propane": "LPG",
    "butane": "LPG",
    "propane and butane": "LPG",
    "heating oil": "heating oil",
}


def siegert_coefficients(fuel: Fuel) -> Siegert:
    """Return the coefficients published for the fuel's family; a fuel without any is a Problem."""
    if fuel.name not in _FAMILY:
        raise Problem(
            f"no coefficients of the indirect method are published for {fuel.name}",
            remedy="use the enthalpy balance",
        )
    return SIEGERT[_FAMILY[fuel.name]]


def siegert_loss(fuel: Fuel, flue: float, air: float, oxygen: float) -> float:
    """Return the flue loss in percent of the net input from flue and air temperature (Cel) and dry O2 (%).

    Raises Problem under the dew point, where the method says nothing.
    """
    coefficients = siegert_coefficients(fuel)
    gas = flue_gas(fuel, air_ratio_from_oxygen(fuel, oxygen))
    dew = flue_gas_dew_point(gas)
    if require("flue temperature", flue, "Cel", least=air, most=1000) < dew:
        raise Problem(
            f"flue temperature {flue:g} Cel is under the dew point {dew:.1f} Cel: the indirect loss means nothing",
            remedy="use the enthalpy balance",
        )
    return (flue - air) * (coefficients.a2 / (21 - oxygen) + coefficients.b)


def flue_gas_dew_point(gas: FlueGas, pressure: float = _ATMOSPHERE) -> float:
    """Return the temperature in Cel at which water begins to condense from the flue gas."""
    return dew_point(gas.water * require("pressure", pressure, "kPa", least=30, most=120))


@dataclass(frozen=True)
class Efficiency:
    """What leaves and what is used, per mole of fuel."""

    useful: float
    """kJ/mol"""
    net_input: float
    gross_input: float
    condensed: float
    """mol of water condensed per mol of fuel."""
    water: float
    """mol of water formed and brought in per mol of fuel."""
    dew_point: float
    """Cel"""

    @property
    def net_percent(self) -> float:
        """Efficiency on the net heating value; over 100 when enough condenses."""
        return 100 * self.useful / self.net_input

    @property
    def gross_percent(self) -> float:
        """Efficiency on the gross heating value."""
        return 100 * self.useful / self.gross_input

    @property
    def condensed_percent(self) -> float:
        """Share of all water that condenses."""
        return 100 * self.condensed / self.water if self.water else 0.0

    @property
    def condensate(self) -> float:
        """Condensate in kg per kWh of gross input."""
        return self.condensed * _WATER_MOLAR_MASS / 1000 / (self.gross_input / 3600)

    def condensate_per_hour(self, gross_kilowatts: float) -> float:
        """Return kg of condensate per hour at a gross input in kW."""
        return self.condensate * require("gross input", gross_kilowatts, "kW", least=0)


def efficiency(fuel: Fuel, gas: FlueGas, flue: float, air: float, pressure: float = _ATMOSPHERE) -> Efficiency:
    """Return the balance of enthalpy, counted from 25 Cel with the fuel at 25 Cel.

    `gas` is the flue gas with the moisture of its air; below the dew point it leaves saturated and the
    condensate leaves at flue temperature. Source: first law, ideal gases, ISO 6976 heating values.
    """
    dew = flue_gas_dew_point(gas, pressure)
    vapour = gas.water_volume
    if flue < dew:
        saturated = saturation_pressure(flue)
        vapour = min(vapour, gas.dry_volume * saturated / (pressure - saturated))
    condensed = gas.water_volume - vapour
    leaving = _dry_gas(fuel, gas, flue) + vapour * sensible("H2O", flue) + condensed * liquid_water(flue)
    moisture = gas.water_volume - fuel.elements.hydrogen / 2
    entering = gas.air_volume * _air(air) + moisture * sensible("H2O", air)
    properties = gas_properties(fuel, NORMAL)
    return Efficiency(
        useful=properties.net_molar + entering - leaving,
        net_input=properties.net_molar,
        gross_input=properties.gross_molar,
        condensed=condensed,
        water=gas.water_volume,
        dew_point=dew,
    )


def _air(celsius: float) -> float:
    return (
        AIR_OXYGEN * sensible("O2", celsius)
        + AIR_CARBON_DIOXIDE * sensible("CO2", celsius)
        + _AIR_INERT * _inert(celsius)
    )


def _inert(celsius: float) -> float:
    return (1 - _ARGON_OF_INERT) * sensible("N2", celsius) + _ARGON_OF_INERT * sensible("Ar", celsius)


def _dry_gas(fuel: Fuel, gas: FlueGas, celsius: float) -> float:
    carbon_dioxide, oxygen = gas.dry_volume * gas.carbon_dioxide, gas.dry_volume * gas.oxygen
    from_fuel = fuel.elements.nitrogen / 2
    inert = gas.dry_volume - carbon_dioxide - oxygen - from_fuel
    return (
        carbon_dioxide * sensible("CO2", celsius)
        + oxygen * sensible("O2", celsius)
        + from_fuel * sensible("N2", celsius)
        + inert * _inert(celsius)
    )
