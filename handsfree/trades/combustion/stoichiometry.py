"""How much air a fuel needs and what leaves the flue: an exact balance of atoms, ideal volumes.

Source: conservation of C, H, O, N and S; all volumes at equal temperature and pressure, so that moles are
volumes. Dry air holds 20.946 % O2 and 0.04 % CO2 (US Standard Atmosphere 1976 composition, CO2 rounded up
to the present), the rest nitrogen and argon.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from handsfree.trades.combustion.bounds import require
from handsfree.trades.combustion.fuels import Fuel

AIR_OXYGEN = 0.20946
AIR_CARBON_DIOXIDE = 0.0004


@dataclass(frozen=True)
class Stoichiometry:
    """The stoichiometric amounts per mole of gas (so m3 per m3), or mol per kg of an oil."""

    oxygen: float
    air: float
    carbon_dioxide: float
    """All CO2 in the flue, that of the air with it."""
    water: float
    dry_flue: float

    @property
    def wet_flue(self) -> float:
        """Dry flue gas and the water vapour formed."""
        return self.dry_flue + self.water


@dataclass(frozen=True)
class FlueGas:
    """The flue gas of complete combustion at one air ratio; fractions between 0 and 1."""

    air_ratio: float
    oxygen: float
    carbon_dioxide: float
    water: float
    """Mole fraction of water vapour in the wet gas, before any condenses."""
    dry_volume: float
    """Per volume of fuel (mol per kg for an oil)."""
    water_volume: float
    air_volume: float
    """Dry air supplied, per volume of fuel."""

    @property
    def wet_oxygen(self) -> float:
        """Oxygen as an in-situ sensor sees it."""
        return self.oxygen * (1 - self.water)

    @property
    def wet_carbon_dioxide(self) -> float:
        """Carbon dioxide in the wet gas."""
        return self.carbon_dioxide * (1 - self.water)


@cache
def stoichiometry(fuel: Fuel) -> Stoichiometry:
    """Return the stoichiometric amounts of a fuel."""
    e = fuel.elements
    oxygen = e.carbon + e.sulphur + e.hydrogen / 4 - e.oxygen / 2
    air = oxygen / AIR_OXYGEN
    carbon_dioxide = e.carbon + AIR_CARBON_DIOXIDE * air
    dry = carbon_dioxide + e.sulphur + e.nitrogen / 2 + air * (1 - AIR_OXYGEN - AIR_CARBON_DIOXIDE)
    return Stoichiometry(oxygen, air, carbon_dioxide, e.hydrogen / 2, dry)


def flue_gas(fuel: Fuel, air_ratio: float, humidity: float = 0.0) -> FlueGas:
    """Return the flue gas of complete combustion.

    `air_ratio` is air supplied over air needed, at least 1 (below it the gas is rich and no balance of
    atoms alone gives its CO and H2); `humidity` is moles of water per mole of dry combustion air.
    """
    ratio = require("air ratio", air_ratio, "", least=1)
    moisture = require("humidity of the air", humidity, "mol/mol", least=0)
    s = stoichiometry(fuel)
    surplus = (ratio - 1) * s.air
    dry = s.dry_flue + surplus
    water = s.water + moisture * ratio * s.air
    return FlueGas(
        air_ratio=ratio,
        oxygen=AIR_OXYGEN * surplus / dry,
        carbon_dioxide=(s.carbon_dioxide + AIR_CARBON_DIOXIDE * surplus) / dry,
        water=water / (dry + water),
        dry_volume=dry,
        water_volume=water,
        air_volume=ratio * s.air,
    )
