"""The trades by name: those with functions of their own, and those of data alone."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from importlib import resources
from pathlib import Path
from typing import NoReturn

from handsfree.documents import Place, validate
from handsfree.problem import Problem
from handsfree.trades.combustion.trade import COMBUSTION
from handsfree.trades.fields import SheetsFile
from handsfree.trades.files import QuantitiesFile, TradeFile
from handsfree.trades.folder import ABOUT, TradeFolder, folder_of
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
    """Return a trade that ships; raise Problem when there is none of the name."""
    if name not in names():
        raise Problem(f"there is no trade {name!r}", remedy=f"known: {', '.join(names())}")
    if name in _WITH_FUNCTIONS:
        return _WITH_FUNCTIONS[name]
    return of_data(folder_of(Path(str(resources.files("handsfree").joinpath("trades", name)))))


def of_data(folder: TradeFolder) -> Trade:
    """Return a trade of data alone: what its files let it do; Problem with file:line at a fault."""
    return Trade(folder.name, calculations={**GENERAL, **calculations_of(folder)}, stops=stops_of(folder))


def stops_of(folder: TradeFolder) -> LimitsByQuantity:
    """Return the stop limits that a trade's files declare; Problem with file:line at a fault."""
    about = folder.document(ABOUT)
    written = validate(TradeFile, about).stops
    quantities = validate(QuantitiesFile, folder.document("quantities.yaml")).root
    sheets = validate(SheetsFile, folder.document("sheets.yaml"))
    found: dict[str, tuple[LimitOnSheet, ...]] = {}
    for name, one in written.items():
        if one.quantity not in quantities:
            _refuse(f"there is no quantity {one.quantity!r}", about.place(("stops", name, "quantity")), quantities)
        unit, numbers = quantities[one.quantity].unit, _numbers(sheets)
        if one.above not in numbers:  # it would count as not given, and nothing would ever stop
            _refuse(f"the sheets hold no number {one.above!r}", about.place(("stops", name, "above")), numbers)
        if numbers[one.above] != unit:
            alike = [path for path, its_unit in numbers.items() if its_unit == unit]
            what = f"{one.above} is in {numbers[one.above]} and {one.quantity} in {unit}"
            _refuse(what, about.place(("stops", name, "above")), alike)
        limit = LimitOnSheet(name, one.above, unit, one.source)
        found[one.quantity] = (*found.get(one.quantity, ()), limit)
    return LimitsByQuantity(on_sheet=found)


def _numbers(sheets: SheetsFile) -> dict[str, str | None]:
    """Return the unit of each number that the trade's two sheets declare, by its path."""
    both = {"job": sheets.job, "appliance": sheets.appliance}
    return {
        f"{sheet}.{name}": fact.unit
        for sheet, facts in both.items()
        for name, fact in facts.items()
        if fact.type == "decimal"
    }


def _refuse(what: str, place: Place, known: Iterable[str]) -> NoReturn:
    raise Problem(what, where=str(place), remedy=f"write one of: {', '.join(known)}")
