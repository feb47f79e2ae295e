"""The molecules a fuel gas is made of, with the data of ISO 6976:2016.

Molar masses follow ISO 6976:2016 table 1; gross heats of combustion (table 3, kJ/mol at 25, 20, 15.55,
15 and 0 degrees Celsius) and summation factors (table 2, at 20, 15.55, 15 and 0 degrees, 101.325 kPa) are
the standard's, as reproduced in a public data file; hydrogen and oxygen are from memory. The
standard's own worked examples (annex D) are reproduced to the printed digits by the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

COMBUSTION_TEMPERATURES = (25.0, 20.0, 15.55, 15.0, 0.0)
METERING_TEMPERATURES = (20.0, 15.55, 15.0, 0.0)
GAS_CONSTANT = 8.3144621
"""J/(mol K), the value ISO 6976:2016 uses (CODATA 2010)."""
AIR_MOLAR_MASS = 28.96546
"""g/mol, dry air of standard composition, ISO 6976:2016."""
AIR_COMPRESSION = {20.0: 0.999645, 15.55: 0.999601, 15.0: 0.999595, 0.0: 0.999419}
"""Compression factor of dry air at 101.325 kPa, ISO 6976:2016."""
WATER_VAPORISATION = {25.0: 44.013, 20.0: 44.222, 15.55: 44.408, 15.0: 44.431, 0.0: 45.064}
"""kJ/mol, molar enthalpy of vaporisation of water, ISO 6976:2016."""


@dataclass(frozen=True)
class Component:
    """One molecule: its atoms and its ISO 6976 data, in the order of the temperatures above."""

    formula: str
    name: str
    carbon: int
    hydrogen: int
    oxygen: int
    nitrogen: int
    molar_mass: float
    """g/mol"""
    gross_heat: tuple[float, float, float, float, float]
    """kJ/mol at the five combustion temperatures; zero for what does not burn."""
    summation: tuple[float, float, float, float]
    """Dimensionless, at the four metering temperatures and 101.325 kPa."""

    def gross_heat_at(self, celsius: float) -> float:
        """Return the molar gross heat of combustion in kJ/mol at one of the standard's temperatures."""
        return self.gross_heat[COMBUSTION_TEMPERATURES.index(celsius)]

    def summation_at(self, celsius: float) -> float:
        """Return the summation factor at one of the standard's metering temperatures."""
        return self.summation[METERING_TEMPERATURES.index(celsius)]


_INERT = (0.0, 0.0, 0.0, 0.0, 0.0)

# fmt: off
COMPONENTS: dict[str, Component] = {
    component.formula: component
    for component in (
        Component("CH4", "methane", 1, 4, 0, 0, 16.04246,
                  (890.58, 891.05, 891.46, 891.51, 892.92), (0.04317, 0.04437, 0.04452, 0.04886)),
        Component("C2H6", "ethane", 2, 6, 0, 0, 30.06904,
                  (1560.69, 1561.42, 1562.06, 1562.14, 1564.35), (0.0895, 0.0916, 0.0919, 0.0997)),
        Component("C3H8", "propane", 3, 8, 0, 0, 44.09562,
                  (2219.17, 2220.13, 2220.99, 2221.10, 2224.03), (0.1308, 0.1340, 0.1344, 0.1465)),
        Component("nC4H10", "n-butane", 4, 10, 0, 0, 58.1222,
                  (2877.40, 2878.58, 2879.63, 2879.76, 2883.35), (0.1785, 0.1834, 0.1840, 0.2022)),
        Component("iC4H10", "isobutane", 4, 10, 0, 0, 58.1222,
                  (2868.20, 2869.39, 2870.45, 2870.58, 2874.21), (0.1673, 0.1717, 0.1722, 0.1885)),
        Component("nC5H12", "n-pentane", 5, 12, 0, 0, 72.14878,
                  (3535.77, 3537.19, 3538.45, 3538.60, 3542.91), (0.2295, 0.2354, 0.2361, 0.2586)),
        Component("iC5H12", "isopentane", 5, 12, 0, 0, 72.14878,
                  (3528.83, 3530.25, 3531.52, 3531.68, 3536.01), (0.2189, 0.2244, 0.2251, 0.2458)),
        Component("neoC5H12", "neopentane", 5, 12, 0, 0, 72.14878,
                  (3514.61, 3516.02, 3517.28, 3517.44, 3521.75), (0.1979, 0.2033, 0.2040, 0.2245)),
        Component("nC6H14", "n-hexane", 6, 14, 0, 0, 86.17536,
                  (4194.95, 4196.60, 4198.06, 4198.24, 4203.24), (0.2907, 0.2991, 0.3001, 0.3319)),
        Component("H2", "hydrogen", 0, 2, 0, 0, 2.01588,
                  (285.83, 285.99, 286.13, 286.15, 286.64), (-0.0100, -0.0100, -0.0100, -0.0100)),
        Component("N2", "nitrogen", 0, 0, 0, 2, 28.0134, _INERT, (0.0156, 0.0169, 0.0170, 0.0214)),
        Component("CO2", "carbon dioxide", 1, 0, 2, 0, 44.0095, _INERT, (0.0730, 0.0749, 0.0752, 0.0821)),
        Component("O2", "oxygen", 0, 0, 2, 0, 31.9988, _INERT, (0.0265, 0.0275, 0.0276, 0.0311)),
    )
}
# fmt: on

ALIASES = {"C4H10": "nC4H10", "C5H12": "nC5H12", "C6H14": "nC6H14", "n-C4H10": "nC4H10", "i-C4H10": "iC4H10"}
"""Names that gas sheets use for the same molecules."""
