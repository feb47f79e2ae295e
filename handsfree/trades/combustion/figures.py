"""What follows from the readings at one rate, for the papers: efficiency, excess air, CO air-free and CO/CO2."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from handsfree.problem import Problem
from handsfree.trades.combustion.sheets import combustion
from handsfree.trades.combustion.stops import fuel_of
from handsfree.trades.combustion.summary import AtTheFlue, flue_lines
from handsfree.trades.figures import Figure
from handsfree.trades.sheets import Sheets

_SAYS = {
    "co_air_free": "CO, air-free",
    "co_ratio": "CO/CO₂",
    "excess_air": "Excess air",
    "efficiency_net": "Efficiency by flue gas, net",
    "efficiency_gross": "Efficiency by flue gas, gross",
}

_NEEDS_O2 = frozenset({"excess_air", "efficiency_net", "efficiency_gross"})
_WITHOUT_O2 = "needs O₂, which was not read: the same CO₂ occurs with too little air as with too much"


def flue_figures(sheets: Sheets, values: Mapping[str, Decimal]) -> tuple[Figure, ...]:
    """Return what the readings tell, in the order of the paper; readings that are impossible tell nothing.

    `values` are co2 and o2 (%), co (ppm), flue_temperature and air_temperature (Cel), those that were read. The
    efficiency is told on the basis of the maker's data alone, since net and gross are never compared. With
    CO2 alone excess air and efficiency are not told: they would hold on the lean side only, and nothing shows
    that side.
    """
    if not {"co2", "o2"} & values.keys():
        return ()
    read = {name: float(value) for name, value in values.items() if name in {"co2", "o2", "co"}}
    if {"flue_temperature", "air_temperature"} <= values.keys():
        read |= {name: float(values[name]) for name in ("flue_temperature", "air_temperature")}
    unwanted = "efficiency_gross" if combustion(sheets).appliance.basis == "net" else "efficiency_net"
    try:
        lines = {one.key: one for one in flue_lines(AtTheFlue(fuel_of(sheets), **read))}
    except Problem:
        return ()
    untold = frozenset[str]() if "o2" in read else _NEEDS_O2
    return tuple(
        Figure(says, "not told", "", _WITHOUT_O2)
        if key in untold
        else Figure(says, lines[key].value, lines[key].unit, f"{lines[key].formula}; {lines[key].source}")
        for key, says in _SAYS.items()
        if key in lines and key != unwanted
    )
