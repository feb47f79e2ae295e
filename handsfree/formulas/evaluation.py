"""A checked formula worked out in SI base units and exact decimals. It runs no code of the author's."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from handsfree.formulas.arithmetic import in_context
from handsfree.formulas.expression import Binary, Call, Expression, NameNode, Negative, NumberNode, Operator, Power
from handsfree.formulas.functions import FUNCTIONS, TABLE_OPERATORS
from handsfree.formulas.kind_check import column_of
from handsfree.formulas.kinds import kind_of
from handsfree.formulas.tables import Table
from handsfree.units import convert, difference

_OPERATIONS: Mapping[Operator, Callable[[Decimal, Decimal], Decimal]] = {
    "+": lambda left, right: left + right,
    "-": lambda left, right: left - right,
    "*": lambda left, right: left * right,
    "/": lambda left, right: left / right,
}


@dataclass(frozen=True)
class Bindings:
    """What the names stand for: values in SI base units, and tables with the shift of each."""

    values: Mapping[str, Decimal]
    tables: Mapping[str, Table]
    shifts: Mapping[str, Decimal]
    """By input, how many of its standard uncertainties a table's curve is moved by."""


def evaluate(tree: Expression, numbers: Bindings) -> Decimal:
    """Return the value in SI base units; NoResult when these numbers have none.

    The formula was checked when it was loaded, so names, units and columns are right here.
    """
    return in_context(lambda: _value(tree, numbers))


def _value(part: Expression, numbers: Bindings) -> Decimal:
    match part:
        case NumberNode():
            return _literal(part)
        case NameNode():
            return numbers.values[part.name]
        case Negative():
            return -_value(part.operand, numbers)
        case Power():
            power = _value(part.base, numbers) ** abs(part.exponent)
            return power if part.exponent >= 0 else 1 / power  # 0 ** -1 would be infinite without a word
        case Binary():
            return _OPERATIONS[part.operator](_value(part.left, numbers), _value(part.right, numbers))
        case Call():
            return _called(part, numbers)


def _literal(part: NumberNode) -> Decimal:
    kind = kind_of(part.unit)
    return (convert if kind.scale == "point" else difference)(part.value, part.unit, kind.unit)


def _called(part: Call, numbers: Bindings) -> Decimal:
    operator = TABLE_OPERATORS.get(part.function)
    if operator is None:
        return FUNCTIONS[part.function].value([_value(argument, numbers) for argument in part.arguments])
    name = part.arguments[0]
    assert isinstance(name, NameNode)  # checked when the formula was loaded
    table, shift = numbers.tables[name.name], numbers.shifts.get(name.name, Decimal(0))
    read = table.look_back if operator.backwards else table.look_up
    return read(column_of(part, operator), _value(part.arguments[-1], numbers), shift)
