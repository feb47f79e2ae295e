"""The statistics of a check digit made of physics: what the next reading should be, and whether two agree.

Knows no chemistry: it is told where a value should lie and how surely. Two ideas carry it. An expectation is
a bell with a floor of surprise under it, so that nothing possible is ever ruled out. And the disagreement
of two quantities tied by a law has a part that stays the same all visit (accuracy of the cells, the exact
fuel), which the visit learns, and a part that does not (display steps).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

SURPRISE = 0.05
"""Share of readings that follow no expectation (a change, a fault): common practice, no source."""


@dataclass(frozen=True)
class Expectation:
    """Where the next reading should lie: centre and standard deviation in its unit."""

    centre: float
    deviation: float


def joined(expectations: Sequence[Expectation]) -> Expectation | None:
    """Return the expectation of several independent ones together, weighted by precision; None for none."""
    if not expectations:
        return None
    precision = sum(1 / each.deviation**2 for each in expectations)
    centre = sum(each.centre / each.deviation**2 for each in expectations) / precision
    return Expectation(centre, 1 / math.sqrt(precision))


def log_density(value: float, expectation: Expectation | None, width: float, surprise: float = SURPRISE) -> float:
    """Return the natural logarithm of the prior density at a value.

    `width` is that of everything the display can show: the floor of surprise is spread over it, and all of
    the prior is when nothing is expected.
    """
    if expectation is None:
        return -math.log(width)
    z = (value - expectation.centre) / expectation.deviation
    bell = math.exp(-z * z / 2) / (expectation.deviation * math.sqrt(2 * math.pi))
    return math.log((1 - surprise) * bell + surprise / width)


def peak(expectation: Expectation | None, width: float, surprise: float = SURPRISE) -> float:
    """Return the highest log density the expectation gives: what a value that must not be judged is given."""
    return log_density(expectation.centre if expectation else 0.0, expectation, width, surprise)


@dataclass(frozen=True)
class Disagreement:
    """What the next disagreement of two tied quantities should be, after those seen so far."""

    mean: float
    deviation: float


def learned(residuals: Sequence[float], lasting: float, passing: float) -> Disagreement:
    """Return the next disagreement from those accepted before (normal prior and errors, Bayes).

    `lasting` is the standard uncertainty of what stays the same all visit, `passing` of what does not.
    """
    if lasting <= 0:
        return Disagreement(0.0, passing)
    precision = 1 / lasting**2 + len(residuals) / passing**2
    mean = sum(residuals) / passing**2 / precision
    return Disagreement(mean, math.sqrt(1 / precision + passing**2))
