"""A formula with its inputs, and the result with the numbers that went in and its standard uncertainty.

Uncertainty: JCGM 100:2008 (the GUM), 5.1.2, for independent inputs; the slope of each by 5.1.3 note 2, that is
half of f(x + u) - f(x - u), so the step is the input's own standard uncertainty. Where one side of it lies
outside a table, the other side is taken whole.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from handsfree.formulas.arithmetic import NoResult, in_context, rounded, two_digits
from handsfree.formulas.evaluation import Bindings, evaluate
from handsfree.formulas.expression import Expression
from handsfree.formulas.kinds import Kind
from handsfree.formulas.tables import Table
from handsfree.units import convert, difference

_ZERO = Decimal(0)


@dataclass(frozen=True)
class Given:
    """A number that goes into a formula: exact decimal, UCUM unit, standard uncertainty in the same unit."""

    value: Decimal
    unit: str
    uncertainty: Decimal = _ZERO


@dataclass(frozen=True)
class FormulaInput:
    """A number that is read off an instrument (`quantity`) or stands on a sheet (`fact`)."""

    name: str
    unit: str
    kind: Kind
    quantity: str | None
    fact: str | None
    accuracy: str | None
    """The fact of a sheet that gives the limits of error of the instrument, such as `job.gauge_accuracy`."""


@dataclass(frozen=True)
class Constant:
    """A number that the formula itself gives, with its uncertainty and where it is published."""

    name: str
    kind: Kind
    given: Given
    source: str


@dataclass(frozen=True)
class TableChoice:
    """A table that a fact of a sheet chooses from a family by its name."""

    name: str
    family: str
    fact: str


@dataclass(frozen=True)
class Formula:
    """A formula that was read and checked. `tree` holds no other names than those of the three kinds of input."""

    name: str
    says: str
    text: str
    """As it was written; after a semicolon, the formulas that were put in."""
    tree: Expression
    inputs: tuple[FormulaInput, ...]
    constants: tuple[Constant, ...]
    choices: tuple[TableChoice, ...]
    unit: str
    kind: Kind
    decimals: int
    source: str
    band: str | None
    """The fact of a sheet that holds the band the result is judged by."""


@dataclass(frozen=True)
class Used:
    """One number that went into a result, and how much of the result's uncertainty comes from it."""

    name: str
    given: Given
    share: Decimal
    """Its own contribution to the standard uncertainty, in the unit of the result, two significant digits."""


@dataclass(frozen=True)
class TableUsed:
    """A table that was read for a result."""

    name: str
    table: str
    source: str
    share: Decimal
    """As for a number; it comes from the standard uncertainty of the table's whole curve."""


@dataclass(frozen=True)
class FormulaResult:
    """A value in the formula's unit, rounded half to even, with all that is needed to work it out again."""

    name: str
    value: Decimal
    unit: str
    uncertainty: Decimal
    """Standard uncertainty in the same unit, two significant digits."""
    decimals: int
    source: str
    text: str
    used: tuple[Used, ...]
    tables: tuple[TableUsed, ...]

    def numbers(self) -> dict[str, str]:
        """Return it as the text of a record: no digit is lost and nothing is a binary float."""
        given = {
            item.name: f"{item.given.value:f} {item.given.unit}, u {item.given.uncertainty:f}"
            for item in self.used
        }
        return {
            "value": f"{self.value:f} {self.unit}",
            "standard uncertainty": f"{self.uncertainty:f} {self.unit}",
            "formula": self.text,
            "source": self.source,
            **given,
            **{item.name: f"{item.table}: {item.source}" for item in self.tables},
        }


def work_out(formula: Formula, given: Mapping[str, Given], chosen: Mapping[str, Table]) -> FormulaResult:
    """Return the result for the inputs by name and the tables chosen by name.

    A unit may be any that is like the input's own; whether a pressure is gauge or absolute is the input's.
    NoResult when an input is missing, when its unit is not like, or when these numbers have no result.
    """
    names = [item.name for item in formula.inputs]
    missing = [name for name in names if name not in given]
    missing += [choice.name for choice in formula.choices if choice.name not in chosen]
    if missing:
        raise NoResult(f"'{formula.name}' needs {', '.join(missing)}, which is not given")
    numbers = {item.name: given[item.name] for item in formula.inputs}
    numbers |= {constant.name: constant.given for constant in formula.constants}
    kinds = {item.name: item.kind for item in formula.inputs}
    kinds |= {constant.name: constant.kind for constant in formula.constants}
    tables = {choice.name: chosen[choice.name] for choice in formula.choices}
    values = {name: _base(number, kinds[name]) for name, number in numbers.items()}

    def at(values: Mapping[str, Decimal], shifts: Mapping[str, Decimal]) -> Decimal:
        return evaluate(formula.tree, Bindings(values, tables, shifts))

    middle = at(values, {})

    def of_number(name: str) -> Decimal:
        step = difference(numbers[name].uncertainty, numbers[name].unit, kinds[name].unit)
        return _share(lambda sign: at({**values, name: values[name] + sign * step}, {}), middle, step)

    def of_table(name: str) -> Decimal:
        return _share(lambda sign: at(values, {name: Decimal(sign)}), middle, tables[name].uncertainty)

    shares = {name: of_number(name) for name in numbers} | {name: of_table(name) for name in tables}
    total = in_context(lambda: sum((share * share for share in shares.values()), _ZERO).sqrt())
    back = convert if formula.kind.scale == "point" else difference

    def in_unit(share: Decimal) -> Decimal:
        return two_digits(difference(share, formula.kind.unit, formula.unit))

    return FormulaResult(
        formula.name,
        in_context(lambda: rounded(back(middle, formula.kind.unit, formula.unit), formula.decimals)),
        formula.unit,
        in_unit(total),
        formula.decimals,
        formula.source,
        formula.text,
        tuple(Used(name, number, in_unit(shares[name])) for name, number in numbers.items()),
        tuple(TableUsed(name, table.name, table.source, in_unit(shares[name])) for name, table in tables.items()),
    )


def _base(number: Given, kind: Kind) -> Decimal:
    if not (number.value.is_finite() and number.uncertainty.is_finite() and number.uncertainty >= 0):
        raise NoResult(f"{number.value} with a standard uncertainty of {number.uncertainty} is no reading")
    try:
        return (convert if kind.scale == "point" else difference)(number.value, number.unit, kind.unit)
    except ValueError as error:
        raise NoResult(str(error)) from error


def _share(at: Callable[[int], Decimal], middle: Decimal, step: Decimal) -> Decimal:
    """Return the contribution |f(x + u) - f(x - u)| / 2, or |f(x) - f(x ± u)| on the side that exists."""
    if not step:
        return _ZERO
    sides = []
    for sign in (1, -1):
        try:
            sides.append(at(sign))
        except NoResult:
            continue
    if not sides:
        raise NoResult("the uncertainty of an input is too great for this formula")
    if len(sides) == 1:
        return in_context(lambda: abs(middle - sides[0]))
    return in_context(lambda: abs(sides[0] - sides[1]) / 2)
