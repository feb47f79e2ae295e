"""The text of a formula turned into a tree, by top-down operator precedence (Pratt 1973). Nothing is evaluated.

    expression = term with + - * / ^, left to right, ^ binding most and whole powers only
    term       = number ['unit'] | name | function(expression, …) | (expression) | - term

A unit stands quoted after its number, `5 'K'`, as FHIRPath (HL7) writes quantities with UCUM codes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

LONGEST = 500
"""Characters of a formula; a longer one is two formulas."""

DEEPEST = 30
"""Levels of parentheses and signs."""

GREATEST_POWER = 9

Operator = Literal["+", "-", "*", "/"]
Span = tuple[int, int]

_TOKEN = re.compile(
    r"(?P<space>\s+)|(?P<number>\d+(?:\.\d+)?)|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<unit>'(?:\[[^\]']*(?:'[^\]']*)?\]|[^'\[])+')|(?P<symbol>[-+*/^(),])"
)
_BINDING = {"+": 10, "-": 10, "*": 20, "/": 20, "^": 40}
_SIGN = 30
_OPERATORS: dict[str, Operator] = {"+": "+", "-": "-", "*": "*", "/": "/"}


class ExpressionFault(ValueError):  # noqa: N818 - told to the author as a sentence
    """What is wrong with a formula, and the words of it that are at fault."""

    def __init__(self, what: str, word: str) -> None:
        self.what = what
        self.word = word
        super().__init__(f"at '{word}': {what}" if word else what)


@dataclass(frozen=True)
class NumberNode:
    """A literal: exactly the digits written, with its UCUM code or none."""

    value: Decimal
    unit: str
    span: Span


@dataclass(frozen=True)
class NameNode:
    """An input, or a column where a table operator wants one."""

    name: str
    span: Span


@dataclass(frozen=True)
class Negative:
    """A sign in front."""

    operand: Expression
    span: Span


@dataclass(frozen=True)
class Binary:
    """Two operands and what is done with them."""

    operator: Operator
    left: Expression
    right: Expression
    span: Span


@dataclass(frozen=True)
class Power:
    """A whole power."""

    base: Expression
    exponent: int
    span: Span


@dataclass(frozen=True)
class Call:
    """A function or a table operator."""

    function: str
    arguments: tuple[Expression, ...]
    span: Span


Expression = NumberNode | NameNode | Negative | Binary | Power | Call


@dataclass(frozen=True)
class _Token:
    what: str
    text: str
    span: Span


def parse(text: str) -> Expression:
    """Return the tree of a formula; ExpressionFault names the word where it goes wrong."""
    if len(text) > LONGEST:
        raise ExpressionFault(f"a formula has at most {LONGEST} characters; split it in two", "")
    parser = _Parser(text)
    tree = parser.expression(0, 0)
    if parser.next.what != "end":
        raise ExpressionFault("an operator such as + or * is missing before this", parser.next.text)
    return tree


def words(text: str, of: Expression) -> str:
    """Return the part of the text that an expression was written as."""
    return text[of.span[0] : of.span[1]]


def names(of: Expression) -> frozenset[str]:
    """Return every name that an expression mentions."""
    match of:
        case NameNode():
            return frozenset({of.name})
        case NumberNode():
            return frozenset()
        case Negative():
            return names(of.operand)
        case Power():
            return names(of.base)
        case Binary():
            return names(of.left) | names(of.right)
        case Call():
            return frozenset().union(*(names(argument) for argument in of.arguments))


def substituted(tree: Expression, by: Mapping[str, Expression]) -> Expression:
    """Return the tree with whole trees in the place of some names."""
    match tree:
        case NameNode():
            return by.get(tree.name, tree)
        case NumberNode():
            return tree
        case Negative():
            return replace(tree, operand=substituted(tree.operand, by))
        case Power():
            return replace(tree, base=substituted(tree.base, by))
        case Binary():
            return replace(tree, left=substituted(tree.left, by), right=substituted(tree.right, by))
        case Call():
            return replace(tree, arguments=tuple(substituted(argument, by) for argument in tree.arguments))


class _Parser:
    def __init__(self, text: str) -> None:
        self._tokens = _tokens(text)
        self._at = 0

    @property
    def next(self) -> _Token:
        return self._tokens[self._at]

    def _take(self) -> _Token:
        token = self.next
        self._at += token.what != "end"
        return token

    def _expect(self, symbol: str, what: str) -> _Token:
        if self.next.text != symbol:
            raise ExpressionFault(what, self.next.text)
        return self._take()

    def expression(self, binding: int, depth: int) -> Expression:
        if depth > DEEPEST:
            raise ExpressionFault("the formula is nested too deeply; split it in two", self.next.text)
        left = self._term(depth)
        while self.next.what == "symbol" and _BINDING.get(self.next.text, 0) > binding:
            operator = self._take().text
            left = self._power(left) if operator == "^" else self._binary(operator, left, depth)
        return left

    def _binary(self, operator: str, left: Expression, depth: int) -> Expression:
        right = self.expression(_BINDING[operator], depth + 1)
        span = (left.span[0], right.span[1])
        return Binary(_OPERATORS[operator], left, right, span)

    def _power(self, base: Expression) -> Expression:
        sign = -1 if self.next.text == "-" else 1
        if sign < 0:
            self._take()
        token = self._take()
        if token.what != "number" or "." in token.text or int(token.text) > GREATEST_POWER:
            raise ExpressionFault(f"a power is a whole number up to {GREATEST_POWER}", token.text)
        return Power(base, sign * int(token.text), (base.span[0], token.span[1]))

    def _term(self, depth: int) -> Expression:
        token = self._take()
        if token.what == "number":
            return self._number(token)
        if token.what == "name":
            return self._call(token, depth) if self.next.text == "(" else NameNode(token.text, token.span)
        if token.text == "-":
            operand = self.expression(_SIGN, depth + 1)
            return Negative(operand, (token.span[0], operand.span[1]))
        if token.text == "(":
            inner = self.expression(0, depth + 1)
            closing = self._expect(")", "a closing parenthesis is missing here")
            return replace(inner, span=(token.span[0], closing.span[1]))
        raise ExpressionFault("a number, a name or a parenthesis is missing here", token.text)

    def _number(self, token: _Token) -> NumberNode:
        if self.next.what == "unit":
            unit = self._take()
            return NumberNode(Decimal(token.text), unit.text[1:-1], (token.span[0], unit.span[1]))
        return NumberNode(Decimal(token.text), "1", token.span)

    def _call(self, function: _Token, depth: int) -> Call:
        self._take()
        arguments = [self.expression(0, depth + 1)]
        while self.next.text == ",":
            self._take()
            arguments.append(self.expression(0, depth + 1))
        closing = self._expect(")", "a comma or a closing parenthesis is missing here")
        return Call(function.text, tuple(arguments), (function.span[0], closing.span[1]))


def _tokens(text: str) -> list[_Token]:
    found, at = [], 0
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise ExpressionFault("this sign has no meaning in a formula", text[at])
        if match.lastgroup != "space":
            found.append(_Token(str(match.lastgroup), match[0], match.span()))
        at = match.end()
    return [*found, _Token("end", "the end", (len(text), len(text)))]
