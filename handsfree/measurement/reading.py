"""A reading as it was read: an exact decimal with its unit and its resolution."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from handsfree.problem import Problem
from handsfree.units import convert, difference

MOST_PLACES = 15
"""Places after the point that a converted number is kept to."""

_PLAIN = re.compile(r"-?[0-9]+(\.[0-9]+)?")


def exact(text: str, what: str = "value") -> Decimal:
    """Return the decimal written in plain digits; exponents, signs of plus, NaN and blanks are Problems."""
    if not _PLAIN.fullmatch(text):
        raise Problem(f"the {what} is not a plain decimal number: '{text}'")
    return Decimal(text)


def _places(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    if not isinstance(exponent, int):
        raise Problem(f"the number is not finite: {number}")
    return -exponent


@dataclass(frozen=True)
class Reading:
    """One value of one quantity; 9.30 and 9.3 differ, because resolution is evidence."""

    quantity: str
    value: Decimal
    unit: str
    """UCUM code."""
    resolution: Decimal
    """The step of the display; written with as many decimal places as the value."""

    def __post_init__(self) -> None:
        if not self.quantity:
            raise Problem("a reading names its quantity")
        if _places(self.value) < 0 or _places(self.value) != _places(self.resolution):
            raise Problem(
                f"{self.quantity} {self.value} and its resolution {self.resolution} differ in decimal places"
            )
        if self.resolution <= 0:
            raise Problem(f"the resolution of {self.quantity} must be above 0, not {self.resolution}")

    @classmethod
    def written(cls, quantity: str, text: str, unit: str) -> Reading:
        """Return the reading of a number as said or typed: its last digit gives the resolution."""
        value = exact(text, quantity)
        return cls(quantity, value, unit, Decimal(1).scaleb(-_places(value)))

    @classmethod
    def converted(cls, quantity: str, called: Decimal, source: str, unit: str) -> Reading:
        """Return the reading of a number called in another unit, and of its last digit, both converted.

        Exact where the conversion ends within `MOST_PLACES`; else rounded there, half to even. A limit written
        with fewer places is passed or not as by the exact fraction. UnlikeUnits as `units.convert`.
        """
        value = convert(called, source, unit)
        step = difference(Decimal(1).scaleb(-_places(called)), source, unit)
        places = Decimal(1).scaleb(-min(MOST_PLACES, max(_places(value), _places(step), 0)))
        return cls(quantity, value.quantize(places), unit, step.quantize(places))

    def to_record(self) -> dict[str, str]:
        """Return the reading as it stands in the record: strings only."""
        return {
            "quantity": self.quantity,
            "value": f"{self.value:f}",
            "unit": self.unit,
            "resolution": f"{self.resolution:f}",
        }


@lru_cache(maxsize=4096)  # every decision reads again what the visit has read so far
def recorded(quantity: str, value: str, unit: str, resolution: str) -> Reading:
    """Return the reading that a record holds as text; Problem where value or resolution is no plain decimal."""
    return Reading(quantity, exact(value), unit, exact(resolution, "resolution"))
