"""Formulas and tables read from YAML (`written.py` shows how) and checked, each fault with file and line."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from itertools import pairwise
from typing import Protocol

from pydantic import ValidationError

from handsfree.formulas.expression import Expression, ExpressionFault, names, parse, substituted
from handsfree.formulas.formula import Constant, Formula, FormulaInput, Given, TableChoice
from handsfree.formulas.kind_check import FormulaScope, kind_in
from handsfree.formulas.kinds import Kind, Scale, TableKind, Unlike, kind_of
from handsfree.formulas.tables import Column, Family, Table
from handsfree.formulas.written import WrittenCalculation, WrittenColumn, WrittenFamily, WrittenFile, WrittenInput
from handsfree.problem import Problem
from handsfree.units import UnknownUnit

Path_ = tuple[str | int, ...]


class FormulaSource(Protocol):
    """A YAML file that was read: plain values, exact numbers, and the place of each."""

    @property
    def content(self) -> object: ...  # noqa: D102 - the class says what it is

    def place(self, path: Path_, /) -> object: ...  # noqa: D102 - the class says what it is


def read_tables(file: FormulaSource) -> dict[str, Family]:
    """Return the families of tables of a file; Problem with file and line at the first fault."""
    content = _validated(file)
    return {name: _family(file, name, written) for name, written in content.tables.items()}


def read_formulas(
    file: FormulaSource, quantities: Mapping[str, str], families: Mapping[str, Family]
) -> dict[str, Formula]:
    """Return the formulas of a file, parsed and their units checked; Problem with file and line at a fault.

    `quantities` gives the UCUM unit of each quantity that can be read off; `families` are the tables known.
    A formula may use another one that stands above it.
    """
    found: dict[str, Formula] = {}
    for name, written in _validated(file).calculations.items():
        found[name] = _Reader(file, ("calculations", name), quantities, families, found).formula(name, written)
    return found


class _Reader:
    """Reads one formula, with what it may refer to."""

    def __init__(
        self,
        file: FormulaSource,
        path: Path_,
        quantities: Mapping[str, str],
        families: Mapping[str, Family],
        above: Mapping[str, Formula],
    ) -> None:
        self._file, self._path = file, path
        self._quantities, self._families, self._above = quantities, families, above
        self._inputs: dict[str, FormulaInput | Constant | TableChoice] = {}
        self._trees: dict[str, Expression] = {}
        self._texts: list[str] = []
        self._kinds: dict[str, Kind | TableKind] = {}

    def formula(self, name: str, written: WrittenCalculation) -> Formula:
        for key, item in written.inputs.items():
            self._take(key, item)
        kind = self._kind(("unit",), written.unit, written.scale)
        tree = self._tree(written.value)
        found = self._check(written.value, tree)
        if found != kind:
            says = f"the formula gives {found.told()}, but its unit '{written.unit}' stands for {kind.told()}"
            raise self._fault(("unit",), says, "correct the unit, or say what it `is`")
        return Formula(
            name,
            written.says,
            "; ".join((written.value, *self._texts)),
            substituted(tree, self._trees),
            tuple(item for item in self._inputs.values() if isinstance(item, FormulaInput)),
            tuple(item for item in self._inputs.values() if isinstance(item, Constant)),
            tuple(item for item in self._inputs.values() if isinstance(item, TableChoice)),
            written.unit,
            kind,
            written.decimals,
            written.source,
            written.band,
        )

    def _take(self, name: str, item: WrittenInput) -> None:
        path: Path_ = ("inputs", name)
        if item.calculation is not None:
            self._put_in(name, path, item.calculation)
        elif item.table is not None and item.fact is not None:
            if item.table not in self._families:
                known = ", ".join(sorted(self._families)) or "none"
                raise self._fault((*path, "table"), f"there are no tables '{item.table}'; there are {known}")
            self._kinds[name] = TableKind(item.table)
            self._put(path, TableChoice(name, item.table, item.fact))
        else:
            unit = self._unit(path, item)
            kind = self._kinds[name] = self._kind(path, unit, item.scale)
            if item.value is not None and item.source is not None:
                given = Given(item.value, unit, item.uncertainty)
                self._put(path, Constant(name, kind, given, item.source))
            else:
                self._put(path, FormulaInput(name, unit, kind, item.quantity, item.fact, item.accuracy))

    def _unit(self, path: Path_, item: WrittenInput) -> str:
        if item.unit is not None:
            return item.unit
        unit = self._quantities.get(str(item.quantity))
        if unit is None:
            raise self._fault(
                (*path, "quantity"), f"there is no quantity '{item.quantity}'", "add it to the trade's quantities"
            )
        return unit

    def _put_in(self, name: str, path: Path_, other: str) -> None:
        formula = self._above.get(other)
        if formula is None:
            raise self._fault((*path, "calculation"), f"no calculation '{other}' stands above this one")
        self._kinds[name], self._trees[name] = formula.kind, formula.tree
        self._texts.append(f"{name} = {formula.text}")
        items: list[FormulaInput | Constant | TableChoice] = [
            *formula.inputs,
            *formula.constants,
            *formula.choices,
        ]
        for item in items:
            self._put(path, item)

    def _put(self, path: Path_, item: FormulaInput | Constant | TableChoice) -> None:
        if self._inputs.setdefault(item.name, item) != item:
            raise self._fault(path, f"'{item.name}' means two things here", "give one of them another name")

    def _tree(self, text: str) -> Expression:
        try:
            tree = parse(text)
        except ExpressionFault as error:
            raise self._fault(("value",), str(error), "correct the formula") from error
        unused = [name for name in self._kinds if name not in names(tree)]
        if unused:
            raise self._fault(("inputs", unused[0]), f"the formula does not use '{unused[0]}'", "take it out")
        return tree

    def _check(self, text: str, tree: Expression) -> Kind:
        try:
            return kind_in(FormulaScope(text, self._kinds, self._families), tree)
        except ExpressionFault as error:
            raise self._fault(("value",), str(error), "correct the formula") from error

    def _kind(self, path: Path_, unit: str, scale: Scale | None) -> Kind:
        return _kind(self._file, (*self._path, *path), unit, scale)

    def _fault(self, path: Path_, what: str, remedy: str | None = None) -> Problem:
        return Problem(what, where=str(self._file.place((*self._path, *path))), remedy=remedy)


def _kind(file: FormulaSource, path: Path_, unit: str, scale: Scale | None) -> Kind:
    try:
        return kind_of(unit, scale)
    except (UnknownUnit, Unlike) as error:
        raise Problem(str(error), where=str(file.place(path))) from error


def _family(file: FormulaSource, name: str, written: WrittenFamily) -> Family:
    path: Path_ = ("tables", name)
    argument = _column(file, (*path, "argument"), written.argument)
    columns = tuple(_column(file, (*path, "columns", at), column) for at, column in enumerate(written.columns))
    tables = {}
    for key, table in written.tables.items():
        _refuse_rows(file, (*path, "tables", key, "rows"), table.rows, len(columns) + 1)
        rows = tuple(tuple(row) for row in table.rows)
        tables[key] = Table(key, argument, columns, rows, table.source, table.uncertainty)
    return Family(name, argument, columns, tables)


def _column(file: FormulaSource, path: Path_, written: WrittenColumn) -> Column:
    return Column(
        written.name, written.unit, _kind(file, (*path, "unit"), written.unit, written.scale), written.says
    )


def _refuse_rows(file: FormulaSource, path: Path_, rows: list[list[Decimal]], width: int) -> None:
    for at, row in enumerate(rows):
        if len(row) != width:
            raise Problem(
                f"this row has {len(row)} numbers, and the table has {width} columns",
                where=str(file.place((*path, at))),
            )
    for at, (earlier, later) in enumerate(pairwise(rows), 1):
        if later[0] <= earlier[0]:
            raise Problem(
                f"{later[0]} does not lie above {earlier[0]}, but the first column must rise",
                where=str(file.place((*path, at))),
            )


def _validated(file: FormulaSource) -> WrittenFile:
    try:
        return WrittenFile.model_validate(file.content)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        given, location = fault.get("input"), tuple(part for part in fault["loc"] if part != "[key]")
        shown = f" (found {str(given)!r})" if isinstance(given, str | int | Decimal) else ""
        message = fault["msg"].removeprefix("Value error, ")
        raise Problem(
            f"{'.'.join(str(part) for part in location)}: {message}{shown}",
            where=str(file.place(location)),
            remedy="handsfree/formulas/written.py shows how it is written",
        ) from error
