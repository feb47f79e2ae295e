"""A trade as it is used: its files read strictly, with file and line of any fault."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from handsfree.documents import Document, Place, read_document, validate
from handsfree.lexicon.stops import StopsFile
from handsfree.problem import Problem
from handsfree.trades import DEFAULT_TRADE
from handsfree.trades.fields import SheetsFile, sheets_class
from handsfree.trades.files import QuantitiesFile, QuantityFacts, TradeFile
from handsfree.trades.relations import RelationBlock, RelationsFile
from handsfree.trades.sheets import Sheets
from handsfree.trades.typed import TYPED

_TRADES = Path(str(resources.files("handsfree.trades")))


@dataclass(frozen=True)
class TradeData:
    """All that a kind of work brings with it."""

    file: TradeFile
    quantities: Mapping[str, QuantityFacts]
    """Every quantity that can be read, by name."""
    relations: Mapping[str, RelationBlock]
    """How quantities stand to each other when nothing is wrong, by name."""
    english: Document
    """Its English words, which are laid over the core's."""
    sheets: type[Sheets]
    """The class that reads its two sheets."""
    stops: StopsFile
    """What follows each stop."""
    template: str
    """A small procedure to start from, proven; NAME stands for its name."""
    example: Path | None
    """An invented job sheet for rehearsals, its appliance sheet beside it."""

    @property
    def name(self) -> str:
        """The trade's name."""
        return self.file.trade

    @property
    def facts(self) -> dict[str, dict[str, Any]]:
        """Unit, digits and range of each quantity, which no language changes."""
        kept = {"unit", "decimals", "low", "high", "also"}
        return {name: one.model_dump(include=kept) for name, one in self.quantities.items()}


def known_trades() -> tuple[str, ...]:
    """Return the names of the trades that ship."""
    return tuple(sorted(file.parent.name for file in _TRADES.glob("*/trade.yaml")))


def trades_in_order() -> tuple[str, ...]:
    """Return the names of the trades that ship, the one of files that name none first."""
    return (DEFAULT_TRADE, *(name for name in known_trades() if name != DEFAULT_TRADE))


@cache
def trade_data(name: str) -> TradeData:
    """Return a trade that ships; KeyError when there is none, Problem when its files are at fault."""
    if name not in known_trades():
        raise KeyError(name)
    return read_trade(_TRADES / name)


def trade_data_asked(name: str, asked_at: Place | None = None) -> TradeData:
    """Return the trade that a file names; Problem at the place that names it, with the trades that are known."""
    if name not in known_trades():
        where = None if asked_at is None else str(asked_at)
        raise Problem(
            f"there is no trade {name!r}", where=where, remedy=f"write one of: {', '.join(known_trades())}"
        )
    return trade_data(name)


def read_trade(folder: Path) -> TradeData:
    """Read a trade from its folder; raise Problem with file:line at the first fault."""
    about = read_document(folder / "trade.yaml")
    file = validate(TradeFile, about)
    if file.trade != folder.name:
        what = f"the trade is called {file.trade!r} but its folder {folder.name!r}"
        raise Problem(what, where=str(about.place(("trade",))), remedy="give both the same name")
    quantities = validate(QuantitiesFile, read_document(folder / "quantities.yaml")).root
    for key in ("taken_back", "over_range"):
        for number, name in enumerate(getattr(file, key)):
            refuse_unknown(name, quantities, about.place((key, number)))
    relations = _relations(folder, quantities)
    english = read_document(folder / "english.yaml")
    if file.trade in TYPED:
        sheets = TYPED[file.trade]
    else:
        sheets = sheets_class(validate(SheetsFile, read_document(folder / "sheets.yaml")), file.trade)
    stops = validate(StopsFile, read_document(folder / "hazards.yaml"))
    template = read_document(folder / "template.yaml").text
    example = folder / "example" / "jobsheet.yaml"
    return TradeData(
        file, quantities, relations, english, sheets, stops, template, example if example.is_file() else None
    )


def _relations(folder: Path, quantities: Mapping[str, QuantityFacts]) -> Mapping[str, RelationBlock]:
    """Read the trade's relations, if it has any; Problem at one between quantities that it does not know."""
    file = folder / "relations.yaml"
    if not file.is_file():
        return {}
    document = read_document(file)
    relations = validate(RelationsFile, document).root
    for name, relation in relations.items():
        for quantity in relation.quantities:
            refuse_unknown(quantity, quantities, document.place((name,)))
        units = {quantities[quantity].unit for quantity in relation.quantities}
        if len(units) > 1:
            what = f"{name} compares quantities in {' and '.join(sorted(units))}"
            raise Problem(what, where=str(document.place((name,))), remedy="compare quantities of one unit")
    return relations


def refuse_unknown(quantity: str, known: Mapping[str, object], place: Place) -> None:
    """Raise Problem at the place when a trade has no such quantity."""
    if quantity not in known:
        remedy = f"write one of: {', '.join(known)}"
        raise Problem(place.told(f"there is no quantity {quantity!r}"), where=str(place), remedy=remedy)


def quantities_named(
    content: Any, path: tuple[str | int, ...] = ()
) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield every quantity that a procedure's content asks for, judges or keeps as a setting, with its path."""
    if isinstance(content, Mapping):
        for key, value in content.items():
            setting = key == "value" and path[:1] == ("things",)
            if (key == "quantity" or setting) and isinstance(value, str):
                yield (*path, key), value
            elif key != "parameters":  # what they mean shows where they stand
                yield from quantities_named(value, (*path, key))
    elif isinstance(content, list):
        for number, value in enumerate(content):
            yield from quantities_named(value, (*path, number))
