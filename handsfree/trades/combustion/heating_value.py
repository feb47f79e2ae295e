"""Heating values, density and Wobbe index of a gas from its composition, by ISO 6976:2016.

Always state the reference: the combustion temperature, the metering temperature and pressure, real or ideal
gas. 39.83 and 37.78 MJ/m3 are both the gross heating value of methane.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from handsfree.problem import Problem
from handsfree.trades.combustion.bounds import require
from handsfree.trades.combustion.components import (
    AIR_COMPRESSION,
    AIR_MOLAR_MASS,
    COMBUSTION_TEMPERATURES,
    COMPONENTS,
    GAS_CONSTANT,
    METERING_TEMPERATURES,
    WATER_VAPORISATION,
)
from handsfree.trades.combustion.fuels import Fuel

_ATMOSPHERE = 101.325


@dataclass(frozen=True)
class Reference:
    """ISO 6976 reference conditions: combustion and metering temperature in Cel, metering pressure in kPa."""

    combustion: float = 15.0
    metering: float = 15.0
    pressure: float = _ATMOSPHERE
    real: bool = True

    def __post_init__(self) -> None:
        if self.combustion not in COMBUSTION_TEMPERATURES:
            raise Problem(
                f"ISO 6976 has no combustion temperature of {self.combustion:g} Cel: {COMBUSTION_TEMPERATURES}"
            )
        if self.metering not in METERING_TEMPERATURES:
            raise Problem(
                f"ISO 6976 has no metering temperature of {self.metering:g} Cel: {METERING_TEMPERATURES}"
            )
        require("metering pressure", self.pressure, "kPa", least=90, most=110)

    def __str__(self) -> str:
        kind = "real" if self.real else "ideal"
        return f"{self.combustion:g}/{self.metering:g} Cel, {self.pressure:g} kPa, {kind} gas"


METRIC = Reference()
"""15/15 Cel: ISO 13443 standard reference conditions, as in EN 437."""
NORMAL = Reference(25.0, 0.0)
"""25/0 Cel: as German and Swiss bills state it."""


@dataclass(frozen=True)
class GasProperties:
    """What ISO 6976 gives for one gas at one reference."""

    molar_mass: float
    """g/mol"""
    compression: float
    gross_molar: float
    """kJ/mol"""
    net_molar: float
    gross: float
    """MJ/m3"""
    net: float
    density: float
    """kg/m3"""
    relative_density: float
    reference: Reference

    @property
    def gross_wobbe(self) -> float:
        """MJ/m3."""
        return self.gross / math.sqrt(self.relative_density)

    @property
    def gross_to_net(self) -> float:
        """Gross over net heating value."""
        return self.gross_molar / self.net_molar


@cache
def gas_properties(fuel: Fuel, reference: Reference = METRIC) -> GasProperties:
    """Return the properties of a gas; an oil is a Problem.

    Formulas: ISO 6976:2016, clauses 5 to 9: heats and molar mass are mole averages, the compression factor is
    1 - (p/p0)·(sum of x·s)², the net value takes off the heat of vaporisation of the water formed.
    """
    shares = [(COMPONENTS[formula], fraction) for formula, fraction in fuel.composition.items()]
    molar_mass = sum(fraction * component.molar_mass for component, fraction in shares)
    gross = sum(fraction * component.gross_heat_at(reference.combustion) for component, fraction in shares)
    net = gross - fuel.elements.hydrogen / 2 * WATER_VAPORISATION[reference.combustion]
    pressure_ratio = reference.pressure / _ATMOSPHERE
    compression, air_compression = 1.0, 1.0
    if reference.real:
        root = sum(fraction * component.summation_at(reference.metering) for component, fraction in shares)
        compression = 1 - pressure_ratio * root**2
        air_compression = 1 - pressure_ratio * (1 - AIR_COMPRESSION[reference.metering])
    ideal_volume = GAS_CONSTANT * (reference.metering + 273.15) / (reference.pressure * 1000)
    volume = compression * ideal_volume
    return GasProperties(
        molar_mass=molar_mass,
        compression=compression,
        gross_molar=gross,
        net_molar=net,
        gross=gross / volume / 1000,
        net=net / volume / 1000,
        density=molar_mass / volume / 1000,
        relative_density=molar_mass / AIR_MOLAR_MASS * air_compression / compression,
        reference=reference,
    )
