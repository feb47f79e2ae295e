"""One check value: what the product computes, what an outside source says, and how far they may differ."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Check:
    number: str
    """The row of the list of check values; several values may stand in one row."""
    what: str
    compute: Callable[[], float]
    expected: float
    tolerance: float
    source: str

    def holds(self) -> bool:
        value = float(self.compute())
        return math.isfinite(value) and abs(value - self.expected) <= self.tolerance


def of(
    number: str, what: str, compute: Callable[[], float], expected: float, tolerance: float, source: str
) -> Check:
    return Check(number, what, compute, expected, tolerance, source)


def relative(
    number: str, what: str, compute: Callable[[], float], expected: float, share: float, source: str
) -> Check:
    return Check(number, what, compute, expected, abs(expected) * share, source)
