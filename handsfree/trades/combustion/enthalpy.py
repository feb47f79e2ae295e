"""Sensible enthalpy of the flue gas's species, as ideal gases, from 25 degrees Celsius. kJ/mol.

Source: polynomials of the GRI-Mech 3.0 thermodynamic data (after NASA TM-4513), range up to 1000 K:
h/R = a1·T + a2·T²/2 + a3·T³/3 + a4·T⁴/4 + a5·T⁵/5. Used from -50 to 400 degrees Celsius.
"""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.trades.combustion.bounds import require

_R = 8.31446261815324e-3
"""kJ/(mol K), exact since the SI of 2019."""
ZERO = 298.15
"""K; enthalpies are counted from here."""

POLYNOMIALS: Mapping[str, tuple[float, float, float, float, float]] = {
    "N2": (3.298677, 0.0014082404, -3.963222e-06, 5.641515e-09, -2.444854e-12),
    "O2": (3.78245636, -0.00299673416, 9.84730201e-06, -9.68129509e-09, 3.24372837e-12),
    "Ar": (2.5, 0.0, 0.0, 0.0, 0.0),
    "CO2": (2.35677352, 0.00898459677, -7.12356269e-06, 2.45919022e-09, -1.43699548e-13),
    "H2O": (4.19864056, -0.0020364341, 6.52040211e-06, -5.48797062e-09, 1.77197817e-12),
}

VAPORISATION = 43.99
"""kJ/mol of water at 25 degrees Celsius (IAPWS-95: 2441.7 kJ/kg)."""
LIQUID_HEAT = 0.07532
"""kJ/(mol K), liquid water between 20 and 60 degrees Celsius (4.181 kJ/(kg K))."""


def sensible(species: str, celsius: float) -> float:
    """Return the enthalpy of a species over that at 25 degrees Celsius, kJ/mol."""
    kelvin = require("gas temperature", celsius, "Cel", least=-50, most=400) + 273.15
    return _R * (_integral(species, kelvin) - _integral(species, ZERO))


def _integral(species: str, kelvin: float) -> float:
    return sum(a * kelvin**power / power for power, a in enumerate(POLYNOMIALS[species], start=1))


def liquid_water(celsius: float) -> float:
    """Return the enthalpy of liquid water counted from vapour at 25 degrees Celsius, kJ/mol (so negative)."""
    return -VAPORISATION + LIQUID_HEAT * (celsius + 273.15 - ZERO)
