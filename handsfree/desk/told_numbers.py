"""What the sums of an answer become: shares, means and intervals, worked out from whole numbers, rounded once.

Engines give sums and counts; whatever divides does so here, exactly, so that every engine tells the same digits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

from handsfree.desk.forms import Across
from handsfree.store.kept import Cell
from handsfree.store.questioned import TEN_THOUSANDTHS, TENTHS

Z = 1.959964
"""The 97.5 % point of the standard normal distribution."""

Sums: TypeAlias = Sequence[Cell]
"""A row as an engine gives it: texts, and whole numbers in whatever type the engine has for them."""

Told: TypeAlias = tuple[Cell, ...]


@dataclass(frozen=True)
class AnswerForm:
    """What an answer's rows are called, how one is told from sums, and their order where it is by that."""

    columns: tuple[str, ...]
    tell: Callable[[Sums], Told]
    order: Callable[[Told], tuple[float, str]] | None = None
    """None where the engine's own order is the answer's."""


def wilson(right: int, ended: int) -> tuple[float, float]:
    """Return the ends of the 95 % interval of a share, in per cent (Wilson, J. Am. Stat. Assoc. 22 (1927) 209)."""
    share = right / ended
    middle = (share + Z * Z / (2 * ended)) / (1 + Z * Z / ended)
    half = Z * math.sqrt(share * (1 - share) / ended + Z * Z / (4 * ended * ended)) / (1 + Z * Z / ended)
    return round(100 * (middle - half), 1), round(100 * (middle + half), 1)


def went(by: tuple[str, ...]) -> AnswerForm:
    """Tell how visits went: right is a visit that came to its end with nothing on the list failed."""

    def tell(row: Sums) -> Told:
        visits, ended, right, stopped, turns, minutes = _whole(row[len(by) :])
        low, high = wilson(right, ended) if ended else (None, None)
        share = _rounded(100 * right, ended, 1) if ended else None
        means = _rounded(turns, visits, 2), _rounded(minutes, visits * TENTHS, 1)
        return (*row[: len(by)], visits, ended, right, share, low, high, stopped, *means)

    columns = (
        "visits",
        "ended",
        "right",
        "right_percent",
        "at_least",
        "at_most",
        "stopped",
        "turns_mean",
        "minutes_mean",
    )
    at_most = len(by) + columns.index("at_most")

    def order(row: Told) -> tuple[float, str]:
        high = row[at_most]
        return (math.inf if high is None else float(high), str(row[0]))

    return AnswerForm((*by, *columns), tell, order if by == ("technician",) else None)


def devices(row: Sums) -> Told:
    """Tell how often a device was not understood, for each visit."""
    visits, misheard, minutes = _whole(row[2:])
    return (*row[:2], visits, _rounded(misheard, visits, 1), _rounded(minutes, visits * TENTHS, 1))


def gates(row: Sums) -> Told:
    """Tell the hours at a gate in all, and the seconds of one passage."""
    passages, tenths, most = _whole(row[2:])
    hours = _rounded(tenths, 3600 * TENTHS, 2)
    return (*row[:2], passages, hours, _rounded(tenths, passages * TENTHS, 1), _rounded(most, TENTHS, 1))


def drift(row: Sums) -> Told:
    """Tell a drift in the quantity's own unit; the row's size and key served its order alone."""
    return (
        *row[:5],
        *(
            _rounded(parts, TEN_THOUSANDTHS, digits)
            for parts, digits in zip(_whole(row[5:8]), (4, 4, 2), strict=True)
        ),
    )


def spread(asked: Across) -> AnswerForm:
    """Tell the mean of a number with its uncertainty (k = 2; JCGM 100:2008, 4.2.3), the largest first."""
    names = tuple(f"{asked.column}_{which}" for which in ("mean", "uncertainty", "least", "most"))

    def tell(row: Sums) -> Told:
        counted, total, wholes, products, rests, least, most = _whole(row[2:])
        squares = wholes * TEN_THOUSANDTHS**2 + 2 * products * TEN_THOUSANDTHS + rests
        variance = (squares - Fraction(total * total, counted)) / (counted - 1)
        uncertainty = round(2 * math.sqrt(variance / counted) / TEN_THOUSANDTHS, 3)
        mean = _rounded(total, counted * TEN_THOUSANDTHS, 3)
        ends = (_rounded(parts, TEN_THOUSANDTHS, 4) for parts in (least, most))
        return (*row[:2], counted, mean, uncertainty, *ends)

    return AnswerForm(
        ("instrument", "instrument_serial", asked.counted, *names),
        tell,
        lambda row: (-abs(float(row[3] or 0)), f"{row[1]} {row[0]}"),
    )


def keyed(row: Sums) -> Told:
    """Tell a visit by its key in the store; the files for questions add its revision to it."""
    return (str(row[0]).partition(".")[0], *counts(row[1:]))


def counts(row: Sums) -> Told:
    """Tell texts and counts as they are."""
    return tuple(cell if cell is None or isinstance(cell, str) else int(cell) for cell in row)


def _rounded(part: int, of: int, digits: int) -> float:
    return float(round(Fraction(part, of), digits))


def _whole(cells: Sums) -> list[int]:
    return [int(cell or 0) for cell in cells]
