"""How far a reading may be from the truth: accuracy, resolution, settling, and how they add.

Source: JCGM 100:2008 (the GUM); section numbers stand beside each rule. All results are standard
uncertainties in the unit of the reading.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from handsfree.problem import Problem


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of an error within ± half_width, all equally likely (4.3.7)."""
    return _not_negative(half_width) / math.sqrt(3)


def of_resolution(step: float) -> float:
    """Return the standard uncertainty of a display with this step (F.2.2.1)."""
    return _not_negative(step) / math.sqrt(12)


def expanded(uncertainty: float, coverage: float = 2.0) -> float:
    """Return the standard uncertainty of an expanded one with its coverage factor (7.2)."""
    return _not_negative(uncertainty) / coverage


def combined(*parts: float) -> float:
    """Return the root sum of squares of independent parts (5.1.2)."""
    return math.hypot(*(_not_negative(part) for part in parts))


def of_difference(first: float, second: float, correlation: float) -> float:
    """Return the standard uncertainty of a difference of two correlated values (5.2.2)."""
    if not -1 <= correlation <= 1:
        raise Problem(f"a correlation lies between -1 and 1, not {correlation:g}")
    variance = first**2 + second**2 - 2 * correlation * first * second
    return math.sqrt(max(variance, 0.0))


def propagated(function: Callable[..., float], values: Sequence[float], uncertainties: Sequence[float]) -> float:
    """Return the standard uncertainty of a function of independent values (5.1.2, slopes by 5.1.3 note 2)."""
    parts = []
    for place, uncertainty in enumerate(uncertainties):
        if uncertainty:
            up, down = list(values), list(values)
            up[place] += uncertainty
            down[place] -= uncertainty
            parts.append((function(*up) - function(*down)) / 2)
    return math.hypot(*parts)


def _not_negative(value: float) -> float:
    if not value >= 0 or math.isinf(value):
        raise Problem(f"an uncertainty is a number from 0 up, not {value}")
    return value
