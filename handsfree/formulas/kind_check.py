"""Dimensional analysis: the kind of each part of a formula, or the fault in it with the words concerned."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from handsfree.formulas import kinds
from handsfree.formulas.expression import (
    Binary,
    Call,
    Expression,
    ExpressionFault,
    NameNode,
    Negative,
    NumberNode,
    Operator,
    Power,
    words,
)
from handsfree.formulas.functions import FUNCTIONS, TABLE_OPERATORS, TableOperator
from handsfree.formulas.kinds import Kind, TableKind, Unlike, kind_of
from handsfree.formulas.tables import Column, Family
from handsfree.units import UnknownUnit

_OPERATIONS: Mapping[Operator, Callable[[Kind, Kind], Kind]] = {
    "+": kinds.added,
    "-": kinds.subtracted,
    "*": kinds.multiplied,
    "/": kinds.divided,
}


@dataclass(frozen=True)
class FormulaScope:
    """The text of a formula and what its names mean."""

    text: str
    inputs: Mapping[str, Kind | TableKind]
    families: Mapping[str, Family]


def kind_in(scope: FormulaScope, part: Expression) -> Kind:
    """Return the kind of an expression; ExpressionFault names the words that do not go together."""
    match part:
        case NumberNode():
            try:
                return kind_of(part.unit)
            except UnknownUnit as error:
                raise ExpressionFault(str(error), words(scope.text, part)) from error
        case NameNode():
            return _named(scope, part)
        case Negative():
            return _done(scope, part, lambda: kinds.amount(kind_in(scope, part.operand)))
        case Power():
            return _done(scope, part, lambda: kinds.raised(kind_in(scope, part.base), part.exponent))
        case Binary():
            left, right = kind_in(scope, part.left), kind_in(scope, part.right)
            return _done(scope, part, lambda: _OPERATIONS[part.operator](left, right))
        case Call():
            operator = TABLE_OPERATORS.get(part.function)
            return _called(scope, part) if operator is None else _read(scope, part, operator)


def column_of(part: Call, operator: TableOperator) -> str:
    """Return the column that a table operator reads."""
    if operator.column is not None:
        return operator.column
    column = part.arguments[1]
    assert isinstance(column, NameNode)  # checked when the formula was loaded
    return column.name


def _done(scope: FormulaScope, part: Expression, work: Callable[[], Kind]) -> Kind:
    try:
        return work()
    except Unlike as error:
        raise ExpressionFault(str(error), words(scope.text, part)) from error


def _named(scope: FormulaScope, part: NameNode) -> Kind:
    kind = scope.inputs.get(part.name)
    if kind is None:
        known = ", ".join(sorted(scope.inputs)) or "none"
        raise ExpressionFault(f"no input has this name; the inputs are {known}", part.name)
    if isinstance(kind, TableKind):
        raise ExpressionFault(f"this is {kind.told()}; read it with an operator such as look_up(…)", part.name)
    return kind


def _called(scope: FormulaScope, part: Call) -> Kind:
    function = FUNCTIONS.get(part.function)
    if function is None:
        known = ", ".join(sorted((*FUNCTIONS, *TABLE_OPERATORS)))
        raise ExpressionFault(f"no function has this name; there are {known}", part.function)
    _count(part, function.least, function.most)
    arguments = [kind_in(scope, argument) for argument in part.arguments]
    return _done(scope, part, lambda: function.kind(arguments))


def _count(part: Call, least: int, most: int) -> None:
    if not least <= len(part.arguments) <= most:
        wanted = f"{least}" if least == most else f"{least} to {most}"
        plural = "" if wanted == "1" else "s"
        raise ExpressionFault(f"it takes {wanted} argument{plural}, not {len(part.arguments)}", part.function)


def _read(scope: FormulaScope, part: Call, operator: TableOperator) -> Kind:
    count = 2 if operator.column else 3
    _count(part, count, count)
    family = _family(scope, part.arguments[0], part.function)
    column = _column(scope, part, operator, family)
    if operator.backwards and not family.reversible(column.name):
        raise ExpressionFault(
            f"the column '{column.name}' neither rises nor falls all the way", words(scope.text, part)
        )
    given, result = (column, family.argument) if operator.backwards else (family.argument, column)
    have = kind_in(scope, part.arguments[-1])
    if have != given.kind:
        hint = "; write absolute(…, …)" if have.scale == "gauge" else ""
        raise ExpressionFault(
            f"{part.function}(…) needs {given.kind.told()}, and this is {have.told()}{hint}",
            words(scope.text, part.arguments[-1]),
        )
    return result.kind


def _family(scope: FormulaScope, part: Expression, function: str) -> Family:
    kind = scope.inputs.get(part.name) if isinstance(part, NameNode) else None
    if not isinstance(kind, TableKind):
        raise ExpressionFault(f"{function}(…) needs a table first", words(scope.text, part))
    return scope.families[kind.family]


def _column(scope: FormulaScope, part: Call, operator: TableOperator, family: Family) -> Column:
    written = part.arguments[1]
    if operator.column is None and not isinstance(written, NameNode):
        raise ExpressionFault("a column's name is needed here", words(scope.text, written))
    name = column_of(part, operator)
    column = family.column(name)
    if column is None:
        known = ", ".join(column.name for column in family.columns)
        raise ExpressionFault(f"'{family.name}' has no column '{name}'; it has {known}", words(scope.text, part))
    return column
