"""Units by their UCUM codes: what they measure, and exact conversion between them.

Source of each definition: UCUM (Unified Code for Units of Measure), table of units, which agrees for what is
kept here with NIST SP 811 (2008), appendix B. Every factor is exact by definition, so a conversion is exact
too; only a result without an end ("one third") is rounded, to 28 significant digits and half to even,
whatever the caller's decimal context is. A code is a product of units with prefixes and exponents, such as
`m3/h`, `[Btu_IT]/h`, `kJ/kg` or `/min`; it has no parentheses and no annotations.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from functools import cache

_BASES = ("kg", "m", "s", "K", "A", "mol")
"""SI base units. UCUM takes the mole for a number; here an amount is no percentage."""

_PREFIXES = {
    "G": Fraction(10**9),
    "M": Fraction(10**6),
    "k": Fraction(10**3),
    "h": Fraction(100),
    "da": Fraction(10),
    "d": Fraction(1, 10),
    "c": Fraction(1, 100),
    "m": Fraction(1, 10**3),
    "u": Fraction(1, 10**6),
    "n": Fraction(1, 10**9),
}

_METRIC = {
    "g": ("0.001", "kg"),
    "N": ("1", "kg.m/s2"),
    "Pa": ("1", "N/m2"),
    "bar": ("100000", "Pa"),
    "m[H2O]": ("9.80665", "kPa"),  # conventional water: 1,000 kg/m3 at standard gravity
    "m[Hg]": ("133.3220", "kPa"),
    "J": ("1", "N.m"),
    "W": ("1", "J/s"),
    "C": ("1", "A.s"),
    "V": ("1", "W/A"),
    "Ohm": ("1", "V/A"),
    "Hz": ("1", "/s"),
    "L": ("1", "dm3"),
    "l": ("1", "L"),
    "t": ("1000", "kg"),
}
"""Units that take a prefix: how many of which others they are."""

_CUSTOMARY = {
    "%": ("0.01", "1"),
    "[ppm]": ("0.000001", "1"),
    "min": ("60", "s"),
    "h": ("60", "min"),
    "d": ("24", "h"),
    "atm": ("101325", "Pa"),
    "[g]": ("9.80665", "m/s2"),
    "[in_i]": ("2.54", "cm"),
    "[ft_i]": ("12", "[in_i]"),
    "[sin_i]": ("1", "[in_i]2"),
    "[sft_i]": ("1", "[ft_i]2"),
    "[cin_i]": ("1", "[in_i]3"),
    "[cft_i]": ("1", "[ft_i]3"),
    "[gal_us]": ("231", "[in_i]3"),
    "[gal_br]": ("4.54609", "L"),
    "[lb_av]": ("453.59237", "g"),
    "[oz_av]": ("28.349523125", "g"),
    "[lbf_av]": ("1", "[lb_av].[g]"),
    "[psi]": ("1", "[lbf_av]/[sin_i]"),
    "[in_i'H2O]": ("0.0254", "m[H2O]"),
    "[in_i'Hg]": ("0.0254", "m[Hg]"),
    "[Btu_IT]": ("1055.05585262", "J"),
    "[HP]": ("550", "[ft_i].[lbf_av]/s"),
    "[degR]": ("5", "K/9"),
}
"""Units that take no prefix."""

_SCALES = {"Cel": (Fraction(1), Fraction("273.15")), "[degF]": (Fraction(5, 9), Fraction("459.67") * 5 / 9)}
"""Scales of temperature: the size of a degree and where their zero lies, both in K."""

_COMPONENT = re.compile(r"(?P<number>[1-9]\d{0,5})|(?P<symbol>(?:[A-Za-z%]|\[[^\[\]]+\])+)(?P<exponent>-?[1-9])?")
_ROUNDED = Context(prec=28, rounding=ROUND_HALF_EVEN)


class UnknownUnit(ValueError):  # noqa: N818 - told to people as a sentence
    """A code that names no unit known here."""


class UnlikeUnits(ValueError):  # noqa: N818 - told to people as a sentence
    """Two units that measure different things."""


@dataclass(frozen=True)
class _Unit:
    """How much of its dimension a unit is: `value · factor + zero`, in SI base units."""

    factor: Fraction
    exponents: tuple[int, ...] = (0,) * len(_BASES)
    zero: Fraction = Fraction(0)

    def times(self, other: _Unit, exponent: int) -> _Unit:
        together = zip(self.exponents, other.exponents, strict=True)
        return _Unit(self.factor * other.factor**exponent, tuple(mine + exponent * its for mine, its in together))


def dimension(ucum: str) -> str:
    """Return what a unit measures, as SI base units: `kg.m-1.s-2` for a pressure, `1` for a plain number.

    UnknownUnit when the code is not known. Units are alike, and convertible, when this is the same text.
    """
    exponents = zip(_BASES, _unit(ucum).exponents, strict=True)
    written = [base if exponent == 1 else f"{base}{exponent}" for base, exponent in exponents if exponent]
    return ".".join(written) or "1"


def convert(value: Decimal, source: str, target: str) -> Decimal:
    """Return a value in another unit; a temperature moves with the zero of its scale.

    UnknownUnit when a code is not known, UnlikeUnits when the two measure different things.
    """
    have, want = _alike(source, target)
    return _decimal((Fraction(value) * have.factor + have.zero - want.zero) / want.factor)


def difference(value: Decimal, source: str, target: str) -> Decimal:
    """Return a difference or an uncertainty in another unit: 9 [degF] is 5 Cel or 5 K. Errors as `convert`."""
    have, want = _alike(source, target)
    return _decimal(Fraction(value) * have.factor / want.factor)


def _alike(source: str, target: str) -> tuple[_Unit, _Unit]:
    have, want = _unit(source), _unit(target)
    if have.exponents != want.exponents:
        told = f"'{source}' is measured in {dimension(source)} and '{target}' in {dimension(target)}"
        raise UnlikeUnits(f"{told}, so one cannot be turned into the other")
    return have, want


@cache
def _unit(ucum: str) -> _Unit:
    if ucum in _SCALES:
        degree, zero = _SCALES[ucum]
        return _Unit(degree, _simple("K", ucum).exponents, zero)
    unit, at, sign = _Unit(Fraction(1)), 0, 1
    if ucum.startswith("/"):
        at, sign = 1, -1
    while True:
        component = _COMPONENT.match(ucum, at)
        if component is None:
            raise _unknown(ucum)
        if component["number"]:
            unit = unit.times(_Unit(Fraction(component["number"])), sign)
        else:
            unit = unit.times(_simple(component["symbol"], ucum), sign * int(component["exponent"] or 1))
        at = component.end()
        if at == len(ucum):
            return unit
        if ucum[at] not in "./":
            raise _unknown(ucum)
        at, sign = at + 1, -1 if ucum[at] == "/" else 1


def _simple(symbol: str, ucum: str) -> _Unit:
    """Return one unit with its prefix; UnknownUnit names the whole code that it stands in."""
    if symbol in _BASES:
        return _Unit(Fraction(1), tuple(int(base == symbol) for base in _BASES))
    if symbol in _SCALES:
        raise UnknownUnit(f"'{symbol}' is a scale and cannot stand in '{ucum}'; write K or [degR] there")
    known = _METRIC.get(symbol) or _CUSTOMARY.get(symbol)
    if known is not None:
        return _Unit(Fraction(known[0])).times(_unit(known[1]), 1)
    for prefix, factor in _PREFIXES.items():
        rest = symbol.removeprefix(prefix)
        if rest != symbol and (rest in _METRIC or rest in _BASES[1:]):
            return _Unit(factor).times(_simple(rest, ucum), 1)
    raise _unknown(ucum)


def _unknown(ucum: str) -> UnknownUnit:
    return UnknownUnit(f"'{ucum}' is no unit that is known here; write a UCUM code such as mbar, m3/h or [psi]")


def _decimal(exact: Fraction) -> Decimal:
    rest, places = exact.denominator, 0
    for prime in (2, 5):
        powers = 0
        while rest % prime == 0:
            rest, powers = rest // prime, powers + 1
        places = max(places, powers)
    if rest == 1:
        return Decimal(f"{exact.numerator * 10**places // exact.denominator}E-{places}")
    return _ROUNDED.divide(Decimal(exact.numerator), Decimal(exact.denominator))
