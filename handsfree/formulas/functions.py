"""The functions a formula may call: what each takes and gives. Table operators stand at the end.

Only what decimal arithmetic does exactly or rounds correctly is here, so that a result is the same everywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from handsfree.formulas.kinds import NUMBER, PRESSURE, Kind, Unlike, amount, square_root

_MANY = 9


@dataclass(frozen=True)
class Function:
    """A function: how many arguments, the kind of its result, and its value in SI base units."""

    least: int
    most: int
    kind: Callable[[list[Kind]], Kind]
    value: Callable[[list[Decimal]], Decimal]


@dataclass(frozen=True)
class TableOperator:
    """Reads a table: forwards from its argument, or backwards from a column to the argument."""

    column: str | None
    """The column it always reads; None when the formula names it."""
    backwards: bool


def _alike(kinds: list[Kind]) -> Kind:
    for kind in kinds[1:]:
        if kind != kinds[0]:
            raise Unlike(f"{kind.told()} cannot be compared with {kinds[0].told()}")
    return kinds[0]


def _number(kinds: list[Kind]) -> Kind:
    if kinds[0] != NUMBER:
        raise Unlike(f"a plain number is needed, and this is {kinds[0].told()}")
    return NUMBER


def _to_absolute(kinds: list[Kind]) -> Kind:
    return _pressures(kinds, "gauge", "absolute")


def _to_gauge(kinds: list[Kind]) -> Kind:
    return _pressures(kinds, "absolute", "gauge")


def _pressures(kinds: list[Kind], have: str, want: str) -> Kind:
    pressure, atmospheric = kinds
    if pressure.unit != PRESSURE or pressure.scale != have:
        raise Unlike(f"{want}(…) turns {_article(have)} {have} pressure, and the first is {pressure.told()}")
    if atmospheric.unit != PRESSURE or atmospheric.scale != "absolute":
        raise Unlike(f"{want}(…) needs the absolute pressure of the air, and the second is {atmospheric.told()}")
    return Kind(pressure.exponents, "absolute" if want == "absolute" else "gauge")


def _article(word: str) -> str:
    return "an" if word[0] in "aeiou" else "a"


def _thermodynamic(kinds: list[Kind]) -> Kind:
    if kinds[0].scale != "point":
        raise Unlike(f"thermodynamic(…) needs a temperature, and this is {kinds[0].told()}")
    return Kind(kinds[0].exponents)


FUNCTIONS = {
    "min": Function(2, _MANY, _alike, min),
    "max": Function(2, _MANY, _alike, max),
    "abs": Function(1, 1, lambda kinds: amount(kinds[0]), lambda values: abs(values[0])),
    "sqrt": Function(1, 1, lambda kinds: square_root(kinds[0]), lambda values: values[0].sqrt()),
    "exp": Function(1, 1, _number, lambda values: values[0].exp()),
    "ln": Function(1, 1, _number, lambda values: values[0].ln()),
    "absolute": Function(2, 2, _to_absolute, lambda values: values[0] + values[1]),
    "gauge": Function(2, 2, _to_gauge, lambda values: values[0] - values[1]),
    "thermodynamic": Function(1, 1, _thermodynamic, lambda values: values[0]),
}
"""`absolute(gauge pressure, pressure of the air)` and `gauge(absolute pressure, pressure of the air)`;
`thermodynamic(t)` is a temperature counted from absolute zero, which may be multiplied."""

TABLE_OPERATORS = {
    "look_up": TableOperator(None, backwards=False),
    "look_back": TableOperator(None, backwards=True),
    "bubble": TableOperator("bubble", backwards=True),
    "dew": TableOperator("dew", backwards=True),
    "bubble_pressure": TableOperator("bubble", backwards=False),
    "dew_pressure": TableOperator("dew", backwards=False),
}
"""`look_up(table, column, argument)` and `look_back(table, column, value)`; over a saturation table, which gives
the pressures of the bubble and the dew line at a temperature, `bubble(table, pressure)` is the temperature at
which the first bubble forms and `dew(table, pressure)` that at which the last drop is gone."""
