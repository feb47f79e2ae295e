"""The one decimal arithmetic of every formula, so that a result is the same on every machine.

28 significant digits, half to even at every step; square root, exponential and logarithm are correctly rounded
(General Decimal Arithmetic specification 1.70). The context of the caller is never looked at.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import (
    ROUND_HALF_EVEN,
    Context,
    Decimal,
    DivisionByZero,
    InvalidOperation,
    Overflow,
    localcontext,
)
from typing import TypeVar

Value = TypeVar("Value")

PRECISION = 28
"""Significant digits that are kept at every step."""

CONTEXT = Context(
    prec=PRECISION,
    rounding=ROUND_HALF_EVEN,
    Emin=-999999,
    Emax=999999,
    capitals=1,
    clamp=0,
    traps=[InvalidOperation, DivisionByZero, Overflow],
)


class NoResult(ValueError):  # noqa: N818 - told to people as a sentence
    """The numbers given have no result: outside a table, a division by zero, a root of a negative number."""


def in_context(work: Callable[[], Value]) -> Value:
    """Do the work in the stated context; NoResult when the arithmetic has no answer."""
    with localcontext(CONTEXT):
        try:
            return work()
        except DivisionByZero as error:
            raise NoResult("the formula divides by zero here") from error
        except (InvalidOperation, Overflow) as error:
            raise NoResult("the formula has no value for these numbers") from error


def rounded(value: Decimal, decimals: int) -> Decimal:
    """Return the value with so many digits after the point, half to even; never a negative zero."""
    result = value.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN, context=CONTEXT)
    return result.copy_abs() if result.is_zero() else result


def two_digits(uncertainty: Decimal) -> Decimal:
    """Return an uncertainty with two significant digits (JCGM 100:2008, 7.2.6), half to even."""
    if uncertainty.is_zero():
        return Decimal(0)
    return rounded(uncertainty, 1 - uncertainty.adjusted())
