"""What a value is: its dimension, and whether it is an amount, a point on a scale, or a pressure with a zero.

The difference matters where adding makes no sense: 20 Cel and 10 Cel are two points, and their difference is
10 K; a gauge pressure counts from the pressure of the air, an absolute one from vacuum. The rules:

- point - point = amount, point + amount = point, and so for gauge and for absolute pressures;
- two points are never added, and a point, a gauge pressure or a mixture of both is never multiplied;
- an absolute pressure counts from nothing, so it is multiplied and divided as an amount.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from handsfree.units import dimension

Scale = Literal["amount", "point", "absolute", "gauge"]
Exponents = tuple[tuple[str, int], ...]

TEMPERATURE = "K"
PRESSURE = "kg.m-1.s-2"
_NAMES = {
    "1": "a plain number",
    TEMPERATURE: "a difference of temperatures",
    PRESSURE: "a difference of pressures",
    "m": "a length",
    "s": "a time",
    "kg": "a mass",
    "m3": "a volume",
    "m3.s-1": "a volume flow",
    "kg.s-1": "a mass flow",
    "kg.m2.s-3": "a power",
    "kg.m2.s-2": "an energy",
    "A": "a current",
}
_SCALED = {"point": "a temperature", "absolute": "an absolute pressure", "gauge": "a gauge pressure"}
_COMPONENT = re.compile(r"(kg|[A-Za-z]+?)(-?\d+)?\Z")
_SCALE_OF = {"Cel": "point", "[degF]": "point"}


class Unlike(ValueError):  # noqa: N818 - told to people as a sentence
    """Kinds that an operation cannot bring together."""


@dataclass(frozen=True)
class Kind:
    """The dimension of a value in SI base units, and the scale that it is counted on."""

    exponents: Exponents
    scale: Scale = "amount"

    @property
    def unit(self) -> str:
        """The coherent SI unit, as a UCUM code; every value is worked out in it."""
        return ".".join(name if power == 1 else f"{name}{power}" for name, power in self.exponents) or "1"

    def told(self) -> str:
        """Return it in words."""
        return _SCALED.get(self.scale) or _NAMES.get(self.unit) or f"something in {self.unit}"


@dataclass(frozen=True)
class TableKind:
    """Not a value but a table: one of a family, chosen by a sheet."""

    family: str

    def told(self) -> str:
        """Return it in words."""
        return f"a table of '{self.family}'"


NUMBER = Kind(())


def kind_of(unit: str, scale: Scale | None = None) -> Kind:
    """Return the kind of a UCUM code; `scale` overrides what the code says by itself.

    UnknownUnit for an unknown code, Unlike when the scale does not go with the unit.
    """
    text = dimension(unit)
    kind = Kind(_exponents(text), scale or ("point" if unit in _SCALE_OF else "amount"))
    if kind.scale == "point" and text != TEMPERATURE:
        raise Unlike(f"only a temperature is a point, and '{unit}' is {_NAMES.get(text, text)}")
    if kind.scale in {"gauge", "absolute"} and text != PRESSURE:
        raise Unlike(f"only a pressure is {kind.scale}, and '{unit}' is {_NAMES.get(text, text)}")
    return kind


def added(left: Kind, right: Kind) -> Kind:
    """Return the kind of a sum; Unlike when there is none."""
    _like(left, right, "be added to")
    if "amount" not in {left.scale, right.scale}:
        raise Unlike(f"{left.told()} and {right.told()} cannot be added; add a difference")
    return right if left.scale == "amount" else left


def subtracted(left: Kind, right: Kind) -> Kind:
    """Return the kind of left minus right; Unlike when there is none."""
    _like(left, right, "be subtracted from", swapped=True)
    if right.scale == "amount":
        return left
    if left.scale == right.scale:
        return Kind(left.exponents)
    raise Unlike(f"{right.told()} cannot be subtracted from {left.told()}")


def multiplied(left: Kind, right: Kind) -> Kind:
    """Return the kind of a product; an absolute pressure times a number stays absolute."""
    for one, other in ((left, right), (right, left)):
        if one.scale == "absolute" and other == NUMBER:
            return one
    return _together(_amount(left), _amount(right), 1)


def divided(left: Kind, right: Kind) -> Kind:
    """Return the kind of a quotient; an absolute pressure by a number stays absolute."""
    if left.scale == "absolute" and right == NUMBER:
        return left
    return _together(_amount(left), _amount(right), -1)


def raised(base: Kind, exponent: int) -> Kind:
    """Return the kind of a whole power."""
    return Kind(tuple((name, power * exponent) for name, power in _amount(base).exponents if exponent))


def square_root(of: Kind) -> Kind:
    """Return the kind of a square root; Unlike when the unit has none."""
    exponents = _amount(of).exponents
    if any(power % 2 for _, power in exponents):
        raise Unlike(f"{of.told()} has no square root with a unit")
    return Kind(tuple((name, power // 2) for name, power in exponents))


def amount(of: Kind) -> Kind:
    """Return the kind itself where it may be multiplied; Unlike for a point or a gauge pressure."""
    return _amount(of)


def _amount(kind: Kind) -> Kind:
    if kind.scale in {"point", "gauge"}:
        hint = "take a difference first" if kind.scale == "point" else "write absolute(…, …) first"
        raise Unlike(f"{kind.told()} has an arbitrary zero and cannot be multiplied or negated; {hint}")
    return Kind(kind.exponents)


def _like(left: Kind, right: Kind, cannot: str, *, swapped: bool = False) -> None:
    if left.exponents != right.exponents:
        first, second = (right, left) if swapped else (left, right)
        raise Unlike(f"{first.told()} cannot {cannot} {second.told()}")


def _together(left: Kind, right: Kind, sign: int) -> Kind:
    powers = dict(left.exponents)
    for name, power in right.exponents:
        powers[name] = powers.get(name, 0) + sign * power
    order = ("kg", "m", "s", "K", "A", "mol")
    return Kind(tuple((name, powers[name]) for name in order if powers.get(name)))


def _exponents(text: str) -> Exponents:
    if text == "1":
        return ()
    found = []
    for part in text.split("."):
        match = _COMPONENT.match(part)
        assert match is not None  # `dimension` writes SI base units only
        found.append((match[1], int(match[2] or 1)))
    return tuple(found)
