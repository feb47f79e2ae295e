"""The trades by name: those with functions of their own, and those of data alone."""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path

from handsfree.documents import read_document, validate
from handsfree.problem import Problem
from handsfree.trades.combustion.trade import COMBUSTION
from handsfree.trades.files import QuantitiesFile, TradeFile
from handsfree.trades.formula_calculations import calculations_of
from handsfree.trades.general import GENERAL
from handsfree.trades.stops import LimitOnSheet, LimitsByQuantity
from handsfree.trades.trade import Trade

_WITH_FUNCTIONS = {COMBUSTION.name: COMBUSTION}


@cache
def names() -> tuple[str, ...]:
    """Return the trades that ship, in order of the alphabet: each is a folder of this package."""
    folders = (one.name for one in resources.files("handsfree").joinpath("trades").iterdir() if one.is_dir())
    return tuple(sorted(name for name in folders if not name.startswith("_")))


@cache
def trade(name: str) -> Trade:
    """Return a trade; raise Problem when there is none of the name."""
    if name not in names():
        raise Problem(f"there is no trade {name!r}", remedy=f"known: {', '.join(names())}")
    if name in _WITH_FUNCTIONS:
        return _WITH_FUNCTIONS[name]
    folder = Path(str(resources.files("handsfree").joinpath("trades", name)))
    return Trade(name, calculations={**GENERAL, **calculations_of(folder)}, stops=_stops_of(folder))


def _stops_of(folder: Path) -> LimitsByQuantity:
    """Return the stop limits that a trade's folder declares; Problem with file:line at a fault."""
    written = validate(TradeFile, read_document(folder / "trade.yaml")).stops
    quantities = validate(QuantitiesFile, read_document(folder / "quantities.yaml")).root
    found: dict[str, tuple[LimitOnSheet, ...]] = {}
    for name, one in written.items():
        if one.quantity not in quantities:
            raise Problem(f"{folder / 'trade.yaml'}: the stop {name} names no quantity: {one.quantity}")
        limit = LimitOnSheet(name, one.above, quantities[one.quantity].unit, one.source)
        found[one.quantity] = (*found.get(one.quantity, ()), limit)
    return LimitsByQuantity(on_sheet=found)
