"""Numbers as people type them, with or without a unit, turned into the unit a formula wants."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from handsfree.problem import Problem
from handsfree.trades.combustion.gas_rate import INCH_OF_WATER

_QUANTITY = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*(.*?)\s*")
_CUBE = re.compile(r"\b(ft|m)3\b")


@cache
def _registry() -> Any:
    import pint  # noqa: PLC0415 - half a second that a bare number does not need

    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    registry.define(f"conventional_inch_of_water = {INCH_OF_WATER * 1000} pascal = inH2O = inwc")
    return registry


def quantity(text: str, unit: str, what: str) -> float:
    """Return the number in the wanted unit (a pint name); a bare number is taken to be in it already."""
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise Problem(f"the {what} is not a number with a unit: '{text}'", remedy=f"for example '1.5 {unit}'")
    number, given = float(match[1]), _CUBE.sub(r"\1**3", match[2])
    if not given:
        return number
    try:
        return float(_registry().Quantity(number, given).to(_CUBE.sub(r"\1**3", unit)).magnitude)
    except Exception:  # noqa: BLE001 - pint lets through whatever its tokenizer raises for text that is no unit
        raise Problem(f"the {what} '{text}' cannot be turned into {unit}") from None
