"""A table of limits in a file beside the procedures: each row holds for some values of what the table is by.

What a table is by are facts of the sheets, and names of its own that the verdict which reads it gives a value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from itertools import product
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from handsfree.blocks import Block, Exact, Name, as_tuple
from handsfree.formulas.tables import interpolated
from handsfree.gates.when import Decider, is_fact

ENDING = ".table.yaml"
"""How the name of a table's file ends."""

Edges = tuple[Decimal | None, Decimal | None]
"""The least and the greatest value allowed; None is open."""


def _one_or_more(value: Any) -> Any:
    """Return one value as a tuple of one, and whole numbers as decimals."""
    listed = value if isinstance(value, list | tuple) else [value]
    return tuple(Decimal(one) if type(one) is int else one for one in listed)


RowValues = Annotated[
    tuple[str | Decimal, ...],
    BeforeValidator(_one_or_more, json_schema_input_type=str | Decimal | list[str | Decimal]),
    Field(min_length=1),
]


class TableRow(Block):
    """One row: the values that it holds for, and the limits then."""

    when: dict[Decider, RowValues]
    """A value, or several, of each that the table is by: `{job.sound: [kept, ask], room: bath}`."""
    low: Exact | None = None
    """The least value allowed, in the table's unit; open when left out."""
    high: Exact | None = None
    """The greatest value allowed; open when left out."""

    @property
    def edges(self) -> Edges:
        """Both limits."""
        return self.low, self.high

    @property
    def number(self) -> Decimal | None:
        """The number that the row stands at; None in a table that is by no number."""
        return next(
            (value for values in self.when.values() for value in values if isinstance(value, Decimal)), None
        )

    def choices(self) -> Iterator[dict[str, str]]:
        """Yield every combination of choices that the row holds for, its number left out."""
        named = {key: values for key, values in self.when.items() if not isinstance(values[0], Decimal)}
        for values in product(*named.values()):
            yield dict(zip(named, map(str, values), strict=True))


class LimitsTable(Block):
    """A table of limits: `NAME.table.yaml`, beside the procedures that read it."""

    handsfree: Literal[2]
    """The version of this language."""
    table: Name
    """Its name; the file is called the same, and then `.table.yaml`."""
    says: str = Field(min_length=3, max_length=120)
    """What its limits are, in a few words."""
    source: str = Field(min_length=1)
    """Where the table is published."""
    unit: str
    """The UCUM code of its limits: that of what they judge."""
    by: dict[Decider, Literal["listed", "interpolated"]] = Field(min_length=1)
    """What chooses the row: facts of the sheets, or names of its own, to which a verdict gives a value.

    `listed`: the row that names the value, and no nearest one. `interpolated`, for one fact that is a number: also
    the straight line between two rows, each limit rounded inwards to one digit more than the rows have.
    """
    others: Literal["no-limit"] | None = None
    """With `no-limit`: a choice that no row names has no limit. Left out, every choice needs its row."""
    rows: Annotated[tuple[TableRow, ...], BeforeValidator(as_tuple), Field(min_length=1)]
    """Its rows, in any order."""

    @property
    def numbered(self) -> str | None:
        """The fact that is a number, by which rows are chosen; None where there is none."""
        return next(
            (key for row in self.rows for key, values in row.when.items() if isinstance(values[0], Decimal)), None
        )

    @property
    def facts(self) -> tuple[str, ...]:
        """The facts of the sheets with choices that it is by."""
        return tuple(key for key in self.by if is_fact(key) and key != self.numbered)

    @property
    def own(self) -> tuple[str, ...]:
        """The names of its own that it is by."""
        return tuple(key for key in self.by if not is_fact(key))

    @property
    def may_lack(self) -> bool:
        """Whether there may be no limit: a number may lie at no row, and a choice may be one of the others."""
        return self.numbered is not None or self.others is not None

    def rows_of(self, known: Mapping[str, str]) -> tuple[tuple[int, TableRow], ...]:
        """Return the rows, each with its number in the file, that hold for what is known, the rest left open."""
        return tuple(
            (at, row)
            for at, row in enumerate(self.rows)
            if all(key == self.numbered or known.get(key, values[0]) in values for key, values in row.when.items())
        )

    def edges(self, known: Mapping[str, str], number: Decimal | None) -> Edges | None:
        """Return the limits for a value of each choice, and the number where it is by one; None where none are."""
        rows = [row for _, row in self.rows_of(known)]
        if self.numbered is None:
            return rows[0].edges if rows else None
        if number is None or not rows:
            return None
        exact = next((row.edges for row in rows if row.number == number), None)
        return exact if exact or self.by[self.numbered] == "listed" else _between(rows, number)

    def read(self, known: Mapping[str, str], number: Decimal | None) -> tuple[int, ...]:
        """Return the numbers in the file of the rows that such limits are taken from; none without limits."""
        if self.edges(known, number) is None:
            return ()
        rows = self.rows_of(known)
        if self.numbered is None:
            return (rows[0][0],)
        exact = [at for at, row in rows if row.number == number]
        at_number = sorted((row.number or Decimal(0), at) for at, row in rows)
        below = [at for stands, at in at_number if number is not None and stands < number]
        above = [at for stands, at in at_number if number is not None and stands > number]
        return tuple(exact) or (below[-1], above[0])


def _between(rows: list[TableRow], number: Decimal) -> Edges | None:
    """Return the limits on the straight lines between rows, rounded inwards; None beyond the outer rows."""
    points = sorted(((row.number or Decimal(0), row) for row in rows), key=lambda point: point[0])
    lows = [(at, row.low) for at, row in points if row.low is not None]
    highs = [(at, row.high) for at, row in points if row.high is not None]
    digit = Decimal(1).scaleb(min(int(edge.as_tuple().exponent) for _, edge in (*lows, *highs)) - 1)
    low, high = interpolated(lows, number), interpolated(highs, number)
    if low is None and high is None:
        return None
    return (
        None if low is None else low.quantize(digit, ROUND_CEILING),
        None if high is None else high.quantize(digit, ROUND_FLOOR),
    )


__all__ = ["ENDING", "Edges", "LimitsTable", "TableRow"]
