"""Whether two readings of one quantity, called by a person and shown by the instrument, agree."""

from __future__ import annotations

from decimal import Decimal


def room(called_step: Decimal, shown_step: Decimal, tolerance: Decimal) -> Decimal:
    """Return how far two readings of one live display may lie apart; all in the unit of the quantity.

    `called_step` and `shown_step` are the steps of the last digit, `tolerance` is how far the quantity may move
    between the two moments. The instrument's own error is the same in both, so it falls out of their difference
    (JCGM 100:2008, 5.2.2 with a correlation of one). What is left of each is its rounding, at most half a step
    (F.2.2.1); both together are at most the larger step. The parts are added as they stand, which is never less
    than the root sum of their squares (5.1.2), so that a difference is told only where chance does not explain it.
    """
    return max(called_step, shown_step) + tolerance


def normalized_error(called: Decimal, shown: Decimal, within: Decimal) -> Decimal:
    """Return the difference over the room for it: at most 1 where two readings agree.

    The form of the normalized error En (ISO 13528, from memory), whose two uncertainties `within` stands for.
    ZeroDivisionError where there is no room at all: a display has a step.
    """
    return abs(called - shown) / within
