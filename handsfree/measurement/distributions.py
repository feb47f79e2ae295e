"""The two distributions behind every verdict, exact and without a numerical library.

Normal: by the error function. Student's t for whole degrees of freedom: the finite series of Abramowitz and
Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache


def normal_cumulative(z: float) -> float:
    """Return the probability that a standard normal value lies below z."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def student_central(t: float, freedom: int) -> float:
    """Return the probability that Student's t lies between -t and t, for whole degrees of freedom."""
    angle = math.atan2(t, math.sqrt(freedom))
    cosine, term, total = math.cos(angle), 1.0, 1.0
    if freedom % 2:
        if freedom == 1:
            return 2 * angle / math.pi
        for k in range(3, freedom - 1, 2):
            term *= cosine * cosine * (k - 1) / k
            total += term
        return 2 / math.pi * (angle + math.sin(angle) * cosine * total)
    for k in range(2, freedom - 1, 2):
        term *= cosine * cosine * (k - 1) / k
        total += term
    return math.sin(angle) * total


@cache
def student_quantile(central: float, freedom: int) -> float:
    """Return the t that holds the central probability, say 0.95, by bisection to full precision."""
    if not 0 < central < 1 or freedom < 1:
        raise ValueError(f"no such Student's t: {central}, {freedom}")
    low, high = 0.0, 1.0
    while student_central(high, freedom) < central:
        high *= 2
    while high - low > 1e-12 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if student_central(middle, freedom) < central else (low, middle)
    return (low + high) / 2


def rounded(value: float, step: Decimal) -> Decimal:
    """Return the value on a grid of decimal steps, so that every machine decides the same from it."""
    return (Decimal(repr(value)) / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step
