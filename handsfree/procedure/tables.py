"""Tables beside the procedures: read where a verdict's limits name them, and held against the sheets.

A row that lacks, stands twice or holds for what no sheet can say is refused at its line.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from itertools import product
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from handsfree.documents import Document, NoSuchFile, Place, validate
from handsfree.gates.table import ENDING, LimitsTable, TableRow
from handsfree.gates.when import is_fact
from handsfree.problem import Problem
from handsfree.procedure.branching import DecidedGate, facts_with_choices, table_of
from handsfree.procedure.targets import need
from handsfree.trades.sheets import Sheets

MOST_TOLD = 3
"""Lacking rows that are named."""


def with_tables(
    content: Any, document: Document, read: Callable[[Path], Document], sheets: Callable[[], type[Sheets]]
) -> tuple[Any, dict[str, Document]]:
    """Return the content of a procedure file with each table that its limits name in place of the name.

    The documents of the tables come by name. Raises Problem where a table lacks, and at any fault in it.
    """
    gates = content.get("gates") if isinstance(content, dict) else None
    found: dict[str, Document] = {}
    tables: dict[str, LimitsTable] = {}
    whole = []
    for number, gate in enumerate(gates if isinstance(gates, list) else ()):
        limits = gate.get("limits") if isinstance(gate, dict) else None
        name = limits.get("table") if isinstance(limits, dict) else None
        if isinstance(limits, dict) and isinstance(name, str):
            if name not in tables:
                at = document.place(("gates", number, "limits", "table"))
                found[name] = _beside(name, Path(document.file).parent, at, read)
                tables[name] = read_table(found[name], sheets())
            whole.append({**gate, "limits": {**limits, "table": tables[name]}})
        else:
            whole.append(gate)
    return ({**content, "gates": whole}, found) if found else (content, found)


def _beside(name: str, folder: Path, at: Place, read: Callable[[Path], Document]) -> Document:
    try:
        return read(folder / f"{name}{ENDING}")
    except NoSuchFile as error:
        what = f"there is no {name}{ENDING} here"
        raise Problem(at.told(what), where=str(at), remedy="correct the name, or write the table") from error


def read_table(document: Document, sheets: type[Sheets]) -> LimitsTable:
    """Return the table of a file; Problem at its first fault."""
    table = validate(LimitsTable, document)
    stem = Path(document.file).name.removesuffix(ENDING)
    what = f"the table is called {table.table!r} but the file {Path(document.file).name!r}"
    need(table.table == stem, what, document.place(("table",)), "give both the same name")
    _refuse_wrong_keys(table, document, sheets)
    for number, row in enumerate(table.rows):
        _refuse_wrong_row(row, document.place(("rows", number)))
    known = _values(table, sheets)
    first: dict[tuple[object, ...], int] = {}
    for number, row in enumerate(table.rows):
        for key, values in known.items():
            for at, value in enumerate(row.when[key]):
                place, remedy = (
                    document.place(("rows", number, "when", key, at)),
                    f"write any of: {', '.join(values)}",
                )
                need(value in values, f"{key} is never {value!r}", place, remedy)
        for choice in row.choices():
            other = first.setdefault((*(choice[key] for key in sorted(choice)), row.number), number)
            place = document.place(("rows", number))
            what = f"two rows hold for {_told(choice, row)}, this one and that of line "
            what += str(document.place(("rows", other)).line)
            need(other == number, what, place, "keep one of them")
    _refuse_holes(table, document, known)
    return table


def _refuse_wrong_keys(table: LimitsTable, document: Document, sheets: type[Sheets]) -> None:
    numbers = 0
    for key, how in table.by.items():
        place = document.key_place(("by", key))
        sheet, _, name = key.partition(".")
        model = sheets.model_fields[sheet].annotation if is_fact(key) else None
        fields = getattr(model, "model_fields", {})
        need(
            not is_fact(key) or name in fields,
            f"the {sheet} sheet has no fact {name!r}",
            place,
            "correct the name",
        )
        number = is_fact(key) and _is_number(fields[name].annotation)
        choice = key in facts_with_choices(sheets)
        need(not is_fact(key) or number or choice, f"{key} is no choice and no number", place, "leave it out")
        need(number or how == "listed", f"{key} is no number, so nothing lies between two rows", place,
             "write `listed`")  # fmt: skip
        numbers += number
        need(numbers < 2, "a table is by one number, and this is another", place, "leave one out")
        for at, row in enumerate(table.rows):
            here = document.place(("rows", at, "when"))
            need(key in row.when, f"the row does not say for which {key} it holds", here, f"write `{key}: …`")
            kind = all(isinstance(value, Decimal) == number for value in row.when[key])
            here = document.place(("rows", at, "when", key))
            need(kind, f"{key} is {'a number' if number else 'a choice'}", here, "correct the value")
            need(not number or len(row.when[key]) == 1, "a row stands at one number", here, "write a row for each")
    for at, row in enumerate(table.rows):
        for key in row.when:
            here = document.key_place(("rows", at, "when", key))
            need(key in table.by, f"the table is not by {key}", here, "add it under `by`, or remove it here")


def _is_number(annotation: Any) -> bool:
    if get_origin(annotation) in {Union, UnionType, Annotated}:
        return any(_is_number(part) for part in get_args(annotation))
    return annotation in {Decimal, int}


def _refuse_wrong_row(row: TableRow, place: Place) -> None:
    need(row.edges != (None, None), "the row gives no limit", place, "give low, high or both")
    wrong = row.low is not None and row.high is not None and row.low >= row.high
    need(not wrong, f"low, {row.low}, is not below high, {row.high}", place, "correct one of them")


def _values(table: LimitsTable, sheets: type[Sheets]) -> Mapping[str, tuple[str, ...]]:
    """Return every value of each choice that a table is by; of its own names those that its rows give."""
    facts = facts_with_choices(sheets)
    own = {
        key: tuple(dict.fromkeys(str(value) for row in table.rows for value in row.when[key])) for key in table.own
    }
    return {**{fact: facts[fact] for fact in table.facts}, **own}


def _refuse_holes(table: LimitsTable, document: Document, known: Mapping[str, tuple[str, ...]]) -> None:
    """Raise Problem where a combination of choices has no row, or where rows cannot be joined by a line."""
    lacking = []
    for values in product(*known.values()):
        choice = dict(zip(known, values, strict=True))
        rows = table.rows_of(choice)
        if not rows:
            lacking.append(", ".join(values))
        elif table.numbered is not None and table.by[table.numbered] == "interpolated":
            place = document.place(("rows", rows[0][0]))
            need(len(rows) > 1, f"nothing lies between this row and another one{_for(choice)}", place,
                 "add a row, or write `listed`")  # fmt: skip
            for number, row in rows[1:]:
                alike = [edge is None for edge in row.edges] == [edge is None for edge in rows[0][1].edges]
                what = f"this row does not give the limits that the one of line {place.line} gives"
                need(alike, what, document.place(("rows", number)), "give both the same ones, low, high or both")
    told = "; ".join(lacking[:MOST_TOLD]) + (
        f"; and {len(lacking) - MOST_TOLD} more" if lacking[MOST_TOLD:] else ""
    )
    remedy = "add the rows, or say `others: no-limit`"
    need(not lacking or table.others, f"no row holds for {told}", document.key_place(("rows",)), remedy)
    decides = table.others is None or lacking
    need(decides, "every choice has its row, so there are no others", document.place(("others",)), "leave it out")


def _for(choice: Mapping[str, str]) -> str:
    return f" for {', '.join(choice.values())}" if choice else ""


def _told(choice: Mapping[str, str], row: TableRow) -> str:
    number = () if row.number is None else (f"{row.number:f}",)
    return ", ".join((*choice.values(), *number))


def refuse_wrong_reading(placed: DecidedGate) -> None:
    """Raise Problem where a verdict gives the names of its table's own no value, or one that no row has."""
    table, judges = table_of(placed), placed.gate.effects.judges
    if table is None or judges is None or judges.limits is None:
        return
    given = judges.limits.at
    for name in given:
        place = placed.key_at("limits", "at", name)
        need(name in table.own, f"the table {table.table} is not by {name!r}", place, "remove it")
    lacking = [name for name in table.own if name not in given]
    need(not lacking, f"the table {table.table} is by {', '.join(lacking)}, too", placed.at("limits"),
         f"write `at: {{{', '.join(f'{name}: …' for name in lacking)}}}`")  # fmt: skip
    for name, value in given.items():
        known = dict.fromkeys(str(one) for row in table.rows for one in row.when[name])
        need(value in known, f"no row of {table.table} is for {name} {value!r}", placed.at("limits", "at", name),
             f"write any of: {', '.join(known)}")  # fmt: skip


__all__ = ["read_table", "refuse_wrong_reading", "with_tables"]
