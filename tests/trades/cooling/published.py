"""Saturation points and worked examples that others published, each with its source. None was made here."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tests.trades.cooling.saturation_nodes import BUBBLE, DEW

PSI = 0.0689475729
"""bar"""
SEA_LEVEL = 1.01325


@dataclass(frozen=True)
class Point:
    """A published point of a saturation line, and how far it may lie from ours, in K."""

    refrigerant: str
    line: int
    celsius: float
    bar: float
    tolerance: float
    source: str

    def __str__(self) -> str:
        return f"{self.refrigerant}-{'dew' if self.line == DEW else 'bubble'}-{self.celsius:.2f}"


# "Characteristics of R32 refrigerant on the saturation line", allchemi.com, appendix 9; absolute pressure in
# 10^5 Pa. Odd temperatures lie between our nodes.
_R32 = {-35: 2.217, -25: 3.348, -15: 4.884, -5: 6.912, 5: 9.525, 15: 12.821, 25: 16.908, 35: 21.902, 45: 27.941}
R32 = [Point("R32", DEW, at, bar, 0.04, "allchemi.com, appendix 9") for at, bar in _R32.items()]

# R-410A: DuPont, "Thermodynamic Properties of Suva 410A", SI, temperature table, liquid and vapour pressure, kPa.
_SUVA = {
    -39: (184.3, 183.8), -37: (201.3, 200.8), -35: (219.6, 219.0), -33: (239.1, 238.4), -31: (259.9, 259.2),
    -29: (282.1, 281.3), -27: (305.7, 304.9), -25: (330.9, 329.9), -23: (357.6, 356.6), -21: (385.9, 384.8),
}  # fmt: skip
R410A_TABLE = [
    Point("R410A", line, at, pair[line] / 100, 0.12, "DuPont Suva 410A, temperature table")
    for at, pair in _SUVA.items()
    for line in (BUBBLE, DEW)
]

# The equations of the same publication (h64423, chemours.com), with its coefficients as they also stand in
# Buildings.Media.Refrigerants.R410A of the Modelica Buildings Library (LBNL).
_CRITICAL = (345.25, 49.251)
_EQUATION = {
    BUBBLE: (-1.4376, -6.8715, -0.53623, -3.82642, -4.06875, -1.2333),
    DEW: (-1.440004, -6.865265, -0.5354309, -3.749023, -3.521484, -7.75),
}


def suva_410a(celsius: float, line: int) -> float:
    """Return the pressure in bar absolute by the producer's equation."""
    critical, pressure = _CRITICAL
    kelvin = celsius + 273.15
    x = 1 - kelvin / critical - 0.2086902
    return pressure * math.exp(critical / kelvin * sum(a * x**power for power, a in enumerate(_EQUATION[line])))


R410A_EQUATION = [
    Point("R410A", line, at, suva_410a(at, line), 0.14 if at <= 45 else 0.27, "DuPont Suva 410A, equation")
    for at in (-19, -11, -3, 1, 5, 9, 13, 21, 29, 37, 45, 53, 61)
    for line in (BUBBLE, DEW)
]

# R-410A: service manual of an air-conditioner (AUXB12GA), page 223: temperatures of saturated liquid and gas for
# each 0.1 MPa of gauge pressure. An older property formulation: it lies up to 0.3 K lower at the cold end.
_MANUAL = {
    2: (-27.61, -27.55), 5: (-8.89, -8.80), 7: (-0.17, -0.06), 8: (3.58, 3.69), 9: (7.02, 7.15),
    10: (10.22, 10.35), 12: (16.01, 16.15), 20: (34.04, 34.20), 24: (41.16, 41.31),
    26: (44.40, 44.55), 28: (47.47, 47.62), 32: (53.16, 53.30), 36: (58.35, 58.48),
}  # fmt: skip
R410A_MANUAL = [
    Point("R410A", line, pair[line], gauge + SEA_LEVEL, 0.32, "service manual AUXB12GA, page 223")
    for gauge, pair in _MANUAL.items()
    for line in (BUBBLE, DEW)
]

# R-454B: bubble points of the producer as a trade page prints them ("manufacturer-sourced bubble-point data",
# vargashvac.com), °F and psig. The mixture model of 2023 lies 0.25 to 0.35 K lower than this chart.
_CHART = {
    25: 82.5, 30: 91.7, 35: 101.5, 40: 111.9, 45: 123.1, 50: 135.0, 55: 147.6, 60: 161.0, 65: 175.3, 70: 190.4,
    80: 223.3, 85: 241.1, 90: 260.0, 95: 279.9, 100: 300.8, 105: 322.8, 110: 346.0, 115: 370.4, 120: 395.9,
    130: 451.0,
}  # fmt: skip
R454B = [
    Point("R454B", BUBBLE, (at - 32) / 1.8, psig * PSI + SEA_LEVEL, 0.36, "producer's chart, trade page")
    for at, psig in _CHART.items()
]

POINTS = [*R32, *R410A_TABLE, *R410A_EQUATION, *R410A_MANUAL, *R454B]

# A maker's charging chart for R-410A (technical support manual 421 04 6300 01, page 6): at a liquid pressure in
# psig, the liquid line temperature in °F that is right for the subcooling on the rating plate, both in whole °F.
CHARGING_CHART = {
    251: {6: 78, 8: 76, 10: 74, 12: 72, 14: 70, 16: 68},
    274: {6: 84, 8: 82, 10: 80, 12: 78, 14: 76},
    299: {6: 90, 8: 88, 10: 86, 12: 84, 14: 82},
    326: {6: 96, 8: 94, 10: 92, 12: 90, 14: 88},
    345: {6: 100, 8: 98, 10: 96, 12: 94, 14: 92},
    395: {6: 110, 8: 108, 10: 106, 12: 104, 14: 102},
    439: {6: 118, 8: 116, 10: 114, 12: 112, 14: 110},
    474: {6: 124, 8: 122, 10: 120, 12: 118, 14: 116},
}
