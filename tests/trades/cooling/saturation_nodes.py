"""The nodes of `saturation.yaml`, worked out by CoolProp (MIT): run it to print the rows of a refrigerant.

python -m tests.trades.cooling.saturation_nodes R32
"""

from __future__ import annotations

import sys
from functools import cache
from importlib.metadata import version

import numpy as np

FLUIDS = {"R32": "R32", "R410A": "R410A", "R454B": "HEOS::R454B.mix"}
NODES = range(-40, 65, 2)
"""Degrees Celsius."""
BUBBLE, DEW = 0, 1


def property_of(*given: object) -> float:
    """Return what CoolProp's `PropsSI` does; its import takes two seconds of each worker."""
    from CoolProp.CoolProp import PropsSI  # noqa: PLC0415

    return float(PropsSI(*given))


@cache
def pressure(refrigerant: str, celsius: float, quality: int) -> float:
    """Return the saturation pressure in bar absolute; ValueError where CoolProp's solver for blends gives up."""
    return property_of("P", "T", celsius + 273.15, "Q", quality, FLUIDS[refrigerant]) / 1e5


def node(refrigerant: str, celsius: float, quality: int) -> float:
    """Return the pressure at a node; where the solver gives up (R454B, bubble, 58), as its neighbours say."""
    try:
        return pressure(refrigerant, celsius, quality)
    except ValueError:
        return from_neighbours(refrigerant, celsius, quality)


def from_neighbours(refrigerant: str, celsius: float, quality: int) -> float:
    """Return the pressure from the nodes 2 and 4 K away: the cubic of ln p over 1/T through them."""
    near = [celsius + step for step in (-4, -2, 2, 4)]
    inverse = np.array([1000 / (at + 273.15) - 1000 / (celsius + 273.15) for at in near])
    logarithms = np.log([pressure(refrigerant, at, quality) for at in near])
    return float(np.exp(np.polyfit(inverse, logarithms, 3)[-1]))


def rows(refrigerant: str) -> list[tuple[int, str, str]]:
    """Return each row as it stands in the file: temperature, bubble pressure, dew pressure."""
    return [(at, f"{node(refrigerant, at, BUBBLE):.4f}", f"{node(refrigerant, at, DEW):.4f}") for at in NODES]


if __name__ == "__main__":
    print(f"# CoolProp {version('CoolProp')}")
    for row in rows(sys.argv[1]):
        print(f"          - [{row[0]}, {row[1]}, {row[2]}]")
