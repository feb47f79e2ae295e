"""Answers as people write them: days, numbers with a unit behind them, words of a choice."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, get_args, get_origin

from handsfree.units import convert, dimension

UNITS = {
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meters": "m",
    "ft": "[ft_i]",
    "foot": "[ft_i]",
    "feet": "[ft_i]",
    "mbar": "mbar",
    "bar": "bar",
    "pa": "Pa",
    "kpa": "kPa",
    "psi": "[psi]",
    "inwc": "[in_i'H2O]",
    "inh2o": "[in_i'H2O]",
    "c": "Cel",
    "f": "[degF]",
    "kw": "kW",
    "%": "%",
    "ppm": "[ppm]",
    "ua": "uA",
    "rpm": "/min",
}
"""How a unit is written, without blanks, dots and the sign for degrees -> its UCUM code."""

_NUMBER = re.compile(r"([-+]?\d+(?:[.,]\d+)?)\s*(.*)")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LAST_MONTH = 12


def day_written(text: str) -> date:
    """Return the day that a person wrote; ValueError says what is not clear.

    Taken are 2027-06-30, 20270630, 30/06/2027, 30.6.2027, 06/30/2027, 30 June 2027 and June 30, 2027. A day such
    as 05/06/2027 may mean May or June, so its month is asked for as a word.
    """
    parts = re.findall(r"\d+|[a-z]+", text.lower())
    if len(parts) == 1 and re.fullmatch(r"\d{8}", parts[0]):
        parts = [parts[0][:4], parts[0][4:6], parts[0][6:]]
    words = [part for part in parts if part.isalpha()]
    numbers = [int(part) for part in parts if part.isdigit()]
    if len(words) == 1 and words[0][:3] in _MONTHS and len(numbers) == len(("day", "year")):
        day, year = numbers
        return _day(year, _MONTHS.index(words[0][:3]) + 1, day)
    if words or len(parts) != len(("year", "month", "day")):
        raise ValueError("write a day, such as 2027-06-30 or 30 June 2027")
    if len(parts[0]) == len("2027"):
        return _day(*numbers)
    one, other, year = numbers
    if one <= _LAST_MONTH and other <= _LAST_MONTH and one != other:
        raise ValueError(f"{text} may be two days: write the month as a word, such as 30 June 2027")
    return _day(year, one, other) if other > _LAST_MONTH else _day(year, other, one)


def _day(year: int, month: int, day: int) -> date:
    if year < 2000:
        raise ValueError("write the year with four digits, such as 2027")
    try:
        return date(year, month, day)
    except ValueError:
        raise ValueError(f"there is no day {day} of month {month} in {year}") from None


def number_written(text: str, unit: str = "") -> Decimal:
    """Return a number in its unit (a UCUM code), from a number that may be written with another unit of its kind.

    ValueError says what is wrong: no number, an unknown unit, one of another kind, or a unit where there is none.
    """
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise ValueError(
            "write a number, such as 8.5" + (f", with its unit when that is not {unit}" if unit else "")
        )
    try:
        value = Decimal(found[1].replace(",", "."))
    except InvalidOperation:
        raise ValueError("write a number, such as 8.5") from None
    named = re.sub(r"[\s.°]", "", found[2].lower())
    if not named:
        return value
    written = UNITS.get(named)
    if not unit:
        raise ValueError(f"write the number alone: no unit is known for it, {found[2]!r} is one")
    if written is None:
        raise ValueError(f"there is no unit {found[2]!r}; write one of: {', '.join(_like(unit))}")
    if written == unit:
        return value
    if dimension(written) != dimension(unit):
        raise ValueError(f"{found[2]} is no unit of this; write one of: {', '.join(_like(unit))}")
    return convert(value, written, unit)


def _like(unit: str) -> list[str]:
    return [name for name, code in UNITS.items() if dimension(code) == dimension(unit)] or [unit]


def choice_written(text: str, choices: tuple[str, ...]) -> str:
    """Return the choice written, in any case or by a beginning that only one has; ValueError names all."""
    meant = [one for one in choices if one.lower() == text.lower()]
    meant = meant or [one for one in choices if text and one.lower().startswith(text.lower())]
    if len(meant) != 1:
        raise ValueError(f"write one of: {', '.join(choices)}")
    return meant[0]


def yes_or_no(text: str) -> bool:
    """Return what was answered to a question of yes or no."""
    if text.lower() in {"y", "yes"}:
        return True
    if text.lower() in {"n", "no"}:
        return False
    raise ValueError("write yes or no")


def value_written(text: str, kind: Any, unit: str = "") -> object:
    """Return what was written as a sheet's file holds it; ValueError says what to write."""
    if kind is date:
        return day_written(text).isoformat()
    if kind is Decimal:
        return number_written(text, unit)
    if kind is int:
        value = number_written(text)
        if value != value.to_integral_value():
            raise ValueError("write a whole number")
        return int(value)
    if get_origin(kind) is not None and all(isinstance(one, str) for one in get_args(kind)):
        return choice_written(text, get_args(kind))
    return text


__all__ = ["choice_written", "day_written", "number_written", "value_written", "yes_or_no"]
