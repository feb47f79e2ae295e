"""How English builds a numeral out of words, written once and read in two directions.

A numeral is a name ("twelve"), a joining of two numerals ("nine" hundred and "five") or a choice of
several. From the same description comes the language of all that can be said for a range of numbers
(`said`) and the numbers that given words can mean (`meanings`), so the two cannot drift apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from handsfree.lexicon.automaton import Pattern, choice, exactly, phrase, phrases, sequence


@dataclass(frozen=True, eq=False)
class Named:
    """Numbers with a name of their own, by their words."""

    by_words: tuple[tuple[str, int], ...]


@dataclass(frozen=True, eq=False)
class Joined:
    """`head` times `unit` plus `tail`, said as the head, one of the joints, then the tail.

    The tail is below the unit, so that a number splits into its head and tail in one way.
    """

    head: Numeral
    unit: int
    joints: tuple[str, ...]
    tail: Numeral


@dataclass(frozen=True, eq=False)
class AnyOf:
    """Any one of several numerals."""

    parts: tuple[Numeral, ...]


Numeral = Named | Joined | AnyOf


def named(**by_words: int) -> Named:
    """Return the numeral of one-word names."""
    return Named(tuple(by_words.items()))


@lru_cache(maxsize=1024)
def bounds(numeral: Numeral) -> tuple[int, int]:
    """Return the least and the greatest number that the numeral can say."""
    match numeral:
        case Named():
            numbers = [number for _, number in numeral.by_words]
            return min(numbers), max(numbers)
        case Joined():
            (head_low, head_high), (tail_low, tail_high) = bounds(numeral.head), bounds(numeral.tail)
            return head_low * numeral.unit + tail_low, head_high * numeral.unit + tail_high
        case AnyOf():
            each = [bounds(part) for part in numeral.parts]
            return min(low for low, _ in each), max(high for _, high in each)


def said(numeral: Numeral, low: int, high: int) -> Pattern | None:
    """Return every way to say a number from low to high, or None when the numeral can say none of them."""
    least, greatest = bounds(numeral)
    low, high = max(low, least), min(high, greatest)
    return _said(numeral, low, high) if low <= high else None


@lru_cache(maxsize=4096)
def _said(numeral: Numeral, low: int, high: int) -> Pattern | None:
    match numeral:
        case Named():
            ways = [phrase(words) for words, number in numeral.by_words if low <= number <= high]
        case Joined():
            ways = [way for group in _groups(low, high, numeral.unit) if (way := _said_joined(numeral, *group))]
        case AnyOf():
            ways = [way for part in numeral.parts if (way := said(part, low, high))]
    # Minimised piece by piece: what is shared between ranges is then built once and stays small.
    return exactly(choice(*ways).automaton()) if ways else None


def _said_joined(numeral: Joined, first: int, last: int, low: int, high: int) -> Pattern | None:
    head, tail = said(numeral.head, first, last), said(numeral.tail, low, high)
    return sequence(head, phrases(numeral.joints), tail) if head and tail else None


def _groups(low: int, high: int, unit: int) -> Iterator[tuple[int, int, int, int]]:
    """Split low..high into runs of heads with the same tails: (first, last head, tail low, tail high)."""
    (first, low_tail), (last, high_tail) = divmod(low, unit), divmod(high, unit)
    if first == last:
        yield first, last, low_tail, high_tail
        return
    yield first, first, low_tail, unit - 1
    if last - first > 1:
        yield first + 1, last - 1, 0, unit - 1
    yield last, last, 0, high_tail


@lru_cache(maxsize=65536)
def meanings(numeral: Numeral, words: tuple[str, ...]) -> frozenset[int]:
    """Return every number that the words, all of them, mean as this numeral."""
    match numeral:
        case Named():
            text = " ".join(words)
            return frozenset(number for name, number in numeral.by_words if name == text)
        case Joined():
            return frozenset(
                head * numeral.unit + tail
                for before, after in _splits(words, numeral.joints)
                for head in meanings(numeral.head, before)
                for tail in meanings(numeral.tail, after)
            )
        case AnyOf():
            return frozenset(number for part in numeral.parts for number in meanings(part, words))


def _splits(words: tuple[str, ...], joints: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
    for joint in joints:
        between = tuple(joint.split())
        for at in range(len(words) - len(between) + 1):
            if words[at : at + len(between)] == between:
                yield words[:at], words[at + len(between) :]


NOTHING = Named((("", 0),))
ZERO = named(zero=0, oh=0, nought=0)
UNIT = named(one=1, two=2, three=3, four=4, five=5, six=6, seven=7, eight=8, nine=9, niner=9)
DIGIT = AnyOf((ZERO, UNIT))
TEN = named(ten=10)
TEENS = named(
    eleven=11,
    twelve=12,
    thirteen=13,
    fourteen=14,
    fifteen=15,
    sixteen=16,
    seventeen=17,
    eighteen=18,
    nineteen=19,
)
TENS = named(twenty=2, thirty=3, forty=4, fifty=5, sixty=6, seventy=7, eighty=8, ninety=9)
ROUND_TENS = Joined(TENS, 10, ("",), NOTHING)
TENS_AND_UNIT = Joined(TENS, 10, ("",), UNIT)
TWO_DIGITS = AnyOf((TEN, TEENS, ROUND_TENS, TENS_AND_UNIT))
BELOW_HUNDRED = AnyOf((UNIT, TWO_DIGITS))
A = named(a=1)

LONGEST = 9
"""Digits before the point that can be said."""


@lru_cache(maxsize=LONGEST)
def digit_string(length: int) -> Numeral:
    """Return the numeral of exactly so many digits, one word each, zeros in front included."""
    return DIGIT if length == 1 else Joined(DIGIT, 10 ** (length - 1), ("",), digit_string(length - 1))


@lru_cache(maxsize=LONGEST)
def digit_by_digit(length: int) -> Numeral:
    """Return the numeral of exactly so many digits, one word each, the first of them not zero."""
    return UNIT if length == 1 else Joined(UNIT, 10 ** (length - 1), ("",), digit_string(length - 1))


def _hundreds(head: Numeral) -> Numeral:
    return AnyOf(
        (
            Joined(head, 100, ("hundred",), NOTHING),
            Joined(head, 100, ("hundred", "hundred and"), BELOW_HUNDRED),
        )
    )


HUNDREDS = _hundreds(AnyOf((A, UNIT)))
"""From "a hundred" to "nine hundred and ninety nine"."""

DIGITS = AnyOf(tuple(digit_by_digit(length) for length in range(2, LONGEST + 1)))

THOUSANDS_HEAD = AnyOf((A, BELOW_HUNDRED, HUNDREDS, digit_by_digit(2), digit_by_digit(3)))
"""How many thousands: a cardinal, or digits as in "one two thousand" (ICAO Annex 10 vol. II, 5.2.1.4.1.2)."""

THOUSANDS = AnyOf(
    (
        Joined(THOUSANDS_HEAD, 1000, ("thousand",), NOTHING),
        Joined(THOUSANDS_HEAD, 1000, ("thousand", "thousand and"), BELOW_HUNDRED),
        Joined(THOUSANDS_HEAD, 1000, ("thousand",), _hundreds(UNIT)),
    )
)

PAIRS = AnyOf(
    (
        Joined(BELOW_HUNDRED, 100, ("",), TWO_DIGITS),
        Joined(BELOW_HUNDRED, 100, ("",), Joined(ZERO, 10, ("",), UNIT)),
    )
)
"""Two numbers below a hundred side by side: "one twelve", "one oh five", "eighteen eighty"."""

WHOLE = AnyOf(
    (
        ZERO,
        BELOW_HUNDRED,
        DIGITS,
        HUNDREDS,
        _hundreds(AnyOf((TEENS, TENS_AND_UNIT))),  # "twelve hundred"
        THOUSANDS,
        PAIRS,
    )
)
"""Every way to say a whole number."""

UNLENGTHENED = AnyOf(
    (
        ZERO,
        UNIT,
        TEN,
        TEENS,
        TENS_AND_UNIT,
        DIGITS,
        Joined(UNIT, 100, ("",), AnyOf((TEN, TEENS, TENS_AND_UNIT))),
    )
)
"""The whole numbers after which a digit cannot be heard as part of them, so that "point" may be left out."""
