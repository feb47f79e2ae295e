"""Published tables: exact nodes, linear interpolation between them, refusal outside, and the way back.

A family is a set of tables of one shape (the same argument and columns), such as the saturation tables of
several refrigerants; a sheet chooses one of them by name. A table's own standard uncertainty is stated in the
unit of its argument: it moves the whole curve to and fro, for all its columns together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from handsfree.formulas.arithmetic import NoResult, rounded, two_digits
from handsfree.formulas.kinds import Kind
from handsfree.units import convert, difference


@dataclass(frozen=True)
class Column:
    """A column's name, its UCUM unit, what its numbers are, and how they are called in a sentence."""

    name: str
    unit: str
    kind: Kind
    said: str

    def from_base(self, value: Decimal) -> Decimal:
        """Return a value in SI base units in the column's unit."""
        return (convert if self.kind.scale == "point" else difference)(value, self.kind.unit, self.unit)

    def to_base(self, value: Decimal) -> Decimal:
        """Return a value in the column's unit in SI base units."""
        return (convert if self.kind.scale == "point" else difference)(value, self.unit, self.kind.unit)


@dataclass(frozen=True)
class Table:
    """One table. Rows hold the argument first, rising, then each column in order."""

    name: str
    argument: Column
    columns: tuple[Column, ...]
    rows: tuple[tuple[Decimal, ...], ...]
    source: str
    uncertainty: Decimal = Decimal(0)
    """Standard uncertainty of the whole curve, in the unit of the argument."""

    def look_up(self, column: str, argument: Decimal, shift: Decimal = Decimal(0)) -> Decimal:
        """Return the column's value at an argument, both in SI base units; NoResult outside the table.

        `shift` is how many of its standard uncertainties the curve is moved by.
        """
        at = self._column(column)
        wanted = self.argument.from_base(argument) - shift * self.uncertainty
        found = interpolated([(row[0], row[at]) for row in self.rows], wanted)
        if found is None:
            raise self._outside(self.argument, self.argument.from_base(argument), 0)
        return self.columns[at - 1].to_base(found)

    def look_back(self, column: str, value: Decimal, shift: Decimal = Decimal(0)) -> Decimal:
        """Return the argument at which the column has this value, both in SI base units, as `look_up` does."""
        at = self._column(column)
        wanted = self.columns[at - 1].from_base(value)
        points = [(row[at], row[0]) for row in self.rows]
        found = interpolated(points if points[0][0] < points[-1][0] else points[::-1], wanted)
        if found is None:
            raise self._outside(self.columns[at - 1], wanted, at)
        return self.argument.to_base(found + shift * self.uncertainty)

    def _column(self, name: str) -> int:
        return 1 + [column.name for column in self.columns].index(name)

    def _outside(self, column: Column, value: Decimal, at: int) -> NoResult:
        low, high = sorted((self.rows[0][at], self.rows[-1][at]))
        return NoResult(
            f"{column.said} {_short(value)} {column.unit} is outside the table '{self.name}', "
            f"which holds {low:f} to {high:f} {column.unit}"
        )


@dataclass(frozen=True)
class Family:
    """Tables of one shape, by the name that a sheet gives."""

    name: str
    argument: Column
    columns: tuple[Column, ...]
    tables: Mapping[str, Table]

    def column(self, name: str) -> Column | None:
        """Return a column by its name, None when there is none."""
        return next((column for column in self.columns if column.name == name), None)

    def reversible(self, name: str) -> bool:
        """Say whether a column rises or falls all the way in every table, so that it can be read backwards."""
        at = 1 + [column.name for column in self.columns].index(name)
        return all(_one_way([row[at] for row in table.rows]) for table in self.tables.values())


def _short(value: Decimal) -> str:
    return f"{two_digits(value) if abs(value) < 1 else rounded(value, 2).normalize():f}"


def _one_way(values: list[Decimal]) -> bool:
    steps = {(later > earlier) - (later < earlier) for earlier, later in pairwise(values)}
    return steps in ({1}, {-1})


def interpolated(points: list[tuple[Decimal, Decimal]], wanted: Decimal) -> Decimal | None:
    """Return the value on the straight line between the two neighbours of a rising list of points."""
    for (left, low), (right, high) in pairwise(points):
        if left <= wanted <= right:
            return low + (high - low) * (wanted - left) / (right - left)
    return None
