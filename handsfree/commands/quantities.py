"""Numbers as people type them, with or without a unit, turned into the unit a formula wants."""

from __future__ import annotations

import re
from decimal import Decimal

from handsfree.problem import Problem
from handsfree.units import UnknownUnit, UnlikeUnits, convert

_QUANTITY = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*(.*?)\s*")
_POWER = re.compile(r"\*\*|\^")
_WRITTEN = {
    "degC": "Cel",
    "°C": "Cel",
    "C": "Cel",
    "degF": "[degF]",
    "°F": "[degF]",
    "F": "[degF]",
    "ft": "[ft_i]",
    "ft3": "[cft_i]",
    "ft³": "[cft_i]",
    "m³": "m3",
    "in": "[in_i]",
    "inH2O": "[in_i'H2O]",
    "inwc": "[in_i'H2O]",
    "inHg": "[in_i'Hg]",
    "mmH2O": "mm[H2O]",
    "mmHg": "mm[Hg]",
    "psi": "[psi]",
    "psia": "[psi]",
    "Btu": "[Btu_IT]",
    "BTU": "[Btu_IT]",
    "kBtu": "1000.[Btu_IT]",
    "MBH": "1000.[Btu_IT]/h",
    "kWh": "kW.h",
    "Wh": "W.h",
    "hp": "[HP]",
    "lb": "[lb_av]",
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "minute": "min",
    "minutes": "min",
    "hr": "h",
    "hour": "h",
    "hours": "h",
}
"""Units as people write them, beside their UCUM codes, which are taken as well."""


def quantity(text: str, unit: str, what: str) -> float:
    """Return the number in the wanted unit (a UCUM code); a bare number is taken to be in it already."""
    plain = "degC" if unit == "Cel" else unit
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise Problem(f"the {what} is not a number with a unit: '{text}'", remedy=f"for example '1.5 {plain}'")
    if not match[2]:
        return float(match[1])
    parts = re.split(r"\s*([./*])\s*", _POWER.sub("", match[2]))
    code = "".join(_WRITTEN.get(part, part) for part in parts).replace("*", ".")
    try:
        return float(convert(Decimal(match[1]), code, unit))
    except (UnknownUnit, UnlikeUnits):
        raise Problem(f"the {what} '{text}' cannot be turned into {plain}") from None
