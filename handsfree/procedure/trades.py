"""A trade as it is used: its files read strictly, with file and line of any fault.

A trade ships with the program, or is an author's own: a folder `trades/NAME/` beside the procedure that names it,
or beside the folder of that procedure. The names of those that ship are taken.
"""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from handsfree.bundles.trade_names import kept_prefix
from handsfree.documents import Document, NoSuchFile, Place, read_document, validate
from handsfree.lexicon.stops import StopsFile
from handsfree.problem import Problem
from handsfree.trades import DEFAULT_TRADE
from handsfree.trades.fields import SheetsFile, sheets_class
from handsfree.trades.files import QuantitiesFile, QuantityFacts, TradeFile
from handsfree.trades.folder import ABOUT, TradeFolder, folder_of
from handsfree.trades.registry import of_data, trade
from handsfree.trades.relations import RelationBlock, RelationsFile
from handsfree.trades.sheets import Sheets
from handsfree.trades.trade import Trade
from handsfree.trades.typed import TYPED

_TRADES = Path(str(resources.files("handsfree.trades")))
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")

BESIDE = "trades"
"""The folder beside a procedure, or beside its folder, that holds an author's trades, each in one of its name."""

MOST_KEPT = 16
"""Trades of authors that are kept as they were read, by the text of all their files."""


@dataclass(frozen=True, eq=False)
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
    functions: Trade
    """What it can do: its calculations, stop limits and the like."""
    folder: TradeFolder
    """Where its files lie."""
    own: bool = False
    """Whether it is an author's own, and so goes with whatever names it: a bundle, the record of a visit."""

    @property
    def name(self) -> str:
        """The trade's name."""
        return self.file.trade

    @property
    def template(self) -> str:
        """A small procedure to start from; NAME stands for its name. Problem where the trade has none."""
        return self.folder.read("template.yaml").text

    @property
    def example(self) -> Path | None:
        """An invented job sheet for rehearsals, its appliance sheet beside it; None where the trade has none."""
        sheet = self.folder.path / "example" / "jobsheet.yaml"
        return sheet if not self.folder.prefix and sheet.is_file() else None

    @property
    def documents(self) -> tuple[Document, ...]:
        """The files that go with whatever names it, always in the same order; none of one that ships."""
        return tuple(self.folder.documents.values()) if self.own else ()

    @property
    def facts(self) -> dict[str, dict[str, Any]]:
        """Unit, digits and range of each quantity, which no language changes."""
        kept = {"unit", "decimals", "low", "high", "also"}
        return {name: one.model_dump(include=kept) for name, one in self.quantities.items()}


def known_trades() -> tuple[str, ...]:
    """Return the names of the trades that ship."""
    return tuple(sorted(file.parent.name for file in _TRADES.glob("[!_]*/trade.yaml")))


def trades_in_order() -> tuple[str, ...]:
    """Return the names of the trades that ship, the one of files that name none first."""
    return (DEFAULT_TRADE, *(name for name in known_trades() if name != DEFAULT_TRADE))


@cache
def trade_data(name: str) -> TradeData:
    """Return a trade that ships; KeyError when there is none, Problem when its files are at fault."""
    if name not in known_trades():
        raise KeyError(name)
    return read_trade(folder_of(_TRADES / name))


def trade_data_asked(
    name: str,
    asked_at: Place | None = None,
    near: Path | None = None,
    read: Callable[[Path], Document] = read_document,
) -> TradeData:
    """Return the trade that a file names: one that ships, or the author's own that lies near the file.

    `near` is the folder of the file; without it, only a trade that ships is known. Raises Problem at the place
    that names it when there is none, with the trades that are known; with file:line at a fault in an author's
    trade, and where that takes the name of one that ships.
    """
    places = () if near is None else (near, _above(near))
    if name in known_trades():
        for folder, prefix in _where_it_may_lie(name, places):
            _refuse_taken(name, folder, f"{prefix}{ABOUT}")
        return trade_data(name)
    for folder, prefix in _where_it_may_lie(name, places) if _NAME.fullmatch(name) else ():
        try:
            found = folder_of(folder, read, name, prefix)
        except NoSuchFile:
            continue
        return _own(found)
    where = None if asked_at is None else str(asked_at)
    known = f"write one of: {', '.join((*known_trades(), *own_trades(near)))}"
    remedy = f"{known}; or bring your own, in {BESIDE}/{name}/ beside the file or beside its folder"
    raise Problem(f"there is no trade {name!r}", where=where, remedy=remedy)


def own_trades(near: Path | None) -> tuple[str, ...]:
    """Return the names of the authors' trades that lie near a file in this folder; none without a folder."""
    places = () if near is None else (near, _above(near))
    found = (file.parent.name for place in places for file in (place / BESIDE).glob(f"*/{ABOUT}"))
    return tuple(sorted(set(found) - set(known_trades())))


def _where_it_may_lie(name: str, places: tuple[Path, ...]) -> Iterator[tuple[Path, str]]:
    """Yield each folder that may hold an author's trade, with what stands before the names of its files there."""
    for place in places:
        yield place / BESIDE / name, ""
        yield place, kept_prefix(name)  # as a bundle and a record keep it
        if place.name == name:
            yield place, ""  # its own example


def _above(folder: Path) -> Path:
    return folder.parent if folder.name not in {"", ".", ".."} else folder / ".."


def _refuse_taken(name: str, folder: Path, about: str) -> None:
    """Raise Problem where a folder that is not the program's own takes the name of a trade that ships."""
    if (folder / about).is_file() and folder.resolve() != (_TRADES / name).resolve():
        what = f"the name {name!r} is that of a trade that ships with the program"
        raise Problem(what, where=f"{folder / about}:1", remedy="give the folder and its `trade:` another name")


_OWN: OrderedDict[tuple[tuple[str, str], ...], TradeData] = OrderedDict()
"""By the place and the text of all their files, so that two trades of one name are never mixed up."""


def _own(folder: TradeFolder) -> TradeData:
    key = tuple((one.file, one.text) for one in folder.documents.values())
    if key in _OWN:
        _OWN.move_to_end(key)
        return _OWN[key]
    made = _OWN[key] = replace(read_trade(folder), own=True)
    while len(_OWN) > MOST_KEPT:
        _OWN.popitem(last=False)
    return made


def read_trade(folder: TradeFolder) -> TradeData:
    """Return the trade that its files make; raise Problem with file:line at the first fault."""
    about = folder.document(ABOUT)
    file = validate(TradeFile, about)
    if file.trade != folder.name:
        what = f"the trade is called {file.trade!r} but its folder {folder.name!r}"
        raise Problem(what, where=str(about.place(("trade",))), remedy="give both the same name")
    quantities = validate(QuantitiesFile, folder.document("quantities.yaml")).root
    for key in ("taken_back", "over_range"):
        for number, name in enumerate(getattr(file, key)):
            refuse_unknown(name, quantities, about.place((key, number)))
    relations = _relations(folder, quantities)
    english = folder.document("english.yaml")
    ships = folder.path == _TRADES / folder.name
    if ships and file.trade in TYPED:
        sheets = TYPED[file.trade]
    else:
        sheets = sheets_class(validate(SheetsFile, folder.document("sheets.yaml")), file.trade)
    stops = validate(StopsFile, folder.document("hazards.yaml"))
    functions = trade(file.trade) if ships else of_data(folder)
    return TradeData(file, quantities, relations, english, sheets, stops, functions, folder)


def _relations(folder: TradeFolder, quantities: Mapping[str, QuantityFacts]) -> Mapping[str, RelationBlock]:
    """Read the trade's relations, if it has any; Problem at one between quantities that it does not know."""
    document = folder.documents.get("relations.yaml")
    if document is None:
        return {}
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
