"""The strict reader of spoken numbers: what can be said for a number, and what said words mean.

Nothing is guessed or added up: words outside the language of a form have no meaning, and words that can
mean several numbers give all of them. Values are exact decimals whose exponent is the resolution that was
said: "nine point three oh" is 9.30, "nine" is 9 even for an instrument that shows tenths.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import lru_cache
from itertools import pairwise

from handsfree.lexicon.automaton import Pattern, WordAutomaton, choice, exactly, phrases, sequence
from handsfree.lexicon.numerals import (
    LONGEST,
    NOTHING,
    ROUND_TENS,
    TWO_DIGITS,
    UNLENGTHENED,
    WHOLE,
    ZERO,
    AnyOf,
    Joined,
    Numeral,
    digit_string,
    meanings,
    said,
)
from handsfree.lexicon.spoken import digits
from handsfree.problem import Problem

MOST_DECIMALS = 4
SIGNS = ("minus", "negative")
POINTS = ("point", "decimal")
ZERO_WORDS = ("zero", "oh", "nought")


@dataclass(frozen=True)
class NumberForm:
    """Which numbers an instrument can show: from `low` to `high`, both included.

    `decimals` is how many digits it shows after the point; up to `most_decimals` are accepted. Raises
    Problem when no number of that form can be said.
    """

    low: Decimal
    high: Decimal
    decimals: int
    most_decimals: int

    def __post_init__(self) -> None:
        if not (self.low.is_finite() and self.high.is_finite() and self.low <= self.high):
            raise Problem(f"a number from {self.low} to {self.high} cannot be said", remedy="give low, then high")
        if not 0 <= self.decimals <= self.most_decimals <= MOST_DECIMALS:
            raise Problem(
                f"{self.decimals} to {self.most_decimals} digits after the point cannot be said",
                remedy=f"use 0 to {MOST_DECIMALS}, the fewer first",
            )
        if max(abs(self.low), abs(self.high)) >= 10**LONGEST:
            raise Problem(f"{self.low} to {self.high} has more than {LONGEST} digits before the point")
        if not self._grid(self.decimals):
            raise Problem(
                f"no number with {self.decimals} digits after the point lies from {self.low} to {self.high}"
            )

    def __contains__(self, value: object) -> bool:
        """Say whether the value is in range and has no more digits after the point than are accepted."""
        if not isinstance(value, Decimal) or not value.is_finite():
            return False
        exponent = value.as_tuple().exponent
        return (
            self.low <= value <= self.high and isinstance(exponent, int) and -self.most_decimals <= exponent <= 0
        )

    def shows(self, value: Decimal) -> bool:
        """Say whether the value carries every digit that the instrument shows: 9 is not what 9.0 is."""
        exponent = value.as_tuple().exponent
        return isinstance(exponent, int) and exponent <= -self.decimals

    def _grid(self, decimals: int) -> range:
        """Return the range in units of the last of so many decimals."""
        low = self.low.scaleb(decimals).to_integral_value(ROUND_CEILING)
        high = self.high.scaleb(decimals).to_integral_value(ROUND_FLOOR)
        return range(int(low), int(high) + 1)

    def numbers(self) -> Iterator[Decimal]:
        """Yield every number that the instrument can show, from low to high."""
        return (Decimal(scaled).scaleb(-self.decimals) for scaled in self._grid(self.decimals))


@lru_cache(maxsize=256)
def pattern(form: NumberForm) -> Pattern:
    """Return every way to say a number of the form."""
    ways = []
    for decimals in range(form.most_decimals + 1):
        grid = form._grid(decimals)  # noqa: SLF001 - the form and its language are one piece
        if not grid:
            continue
        numeral = _numeral(decimals, may_omit_point=decimals == form.decimals)
        if grid[-1] >= 0 and (plain := said(numeral, max(grid[0], 0), grid[-1])):
            ways.append(plain)
        if grid[0] < 0 and (negated := said(numeral, max(-grid[-1], 0), -grid[0])):
            ways.append(sequence(phrases(SIGNS), negated))
    return exactly(_zeros_alike(choice(*ways).automaton()))


def _zeros_alike(automaton: WordAutomaton) -> WordAutomaton:
    """Return the language without "zero oh" and the like: nobody changes the word for zero between two digits.

    A recogniser easily hears the end of "zero" as one more "oh"; ten times a CO reading is no small error.
    """
    arcs: list[tuple[int, str | None, int]] = []
    lasts = ("", *ZERO_WORDS)
    width = len(lasts)
    for source, word, target in automaton.arcs:
        for place, last in enumerate(lasts):
            if word in ZERO_WORDS and last and last != word:
                continue
            arcs.append(
                (source * width + place, word, target * width + lasts.index(word if word in lasts else ""))
            )
    size = width * (1 + max((max(a, b) for a, _, b in automaton.arcs), default=0))
    ends = [(final * width + place, None, size) for final in automaton.finals for place in range(width)]
    return Pattern([*arcs, *ends], 0, size, size + 1).automaton()


def read(words: Sequence[str], form: NumberForm) -> frozenset[Decimal]:
    """Return every number of the form that the words can mean; none when they are no such number.

    A number said with fewer digits after the point than the instrument shows keeps the fewer digits
    (ask `form.shows`). "Minus zero" is zero, for an instrument that can go below it.
    """
    if any(a in ZERO_WORDS and b in ZERO_WORDS and a != b for a, b in pairwise(words)):
        return frozenset()
    signed = bool(words) and words[0] in SIGNS
    magnitude = tuple(words[1:] if signed else words)
    found = set()
    for decimals in range(form.most_decimals + 1):
        grid = form._grid(decimals)  # noqa: SLF001 - the form and its language are one piece
        if signed and grid and grid[0] >= 0:
            continue
        for number in meanings(_numeral(decimals, may_omit_point=decimals == form.decimals), magnitude):
            scaled = -number if signed else number
            if scaled in grid:
                found.add(Decimal(scaled).scaleb(-decimals))
    return frozenset(found)


def unsayable(form: NumberForm, known: Container[str]) -> Decimal | None:
    """Return the least number of the form that the known words cannot say digit by digit, or None.

    With a word for each digit, for the point and for minus, every number of every form is sayable by
    construction; otherwise the numbers are gone through until one lacks a word.
    """
    every_word = digits(Decimal("-1234567890.1")).split()
    if all(_has(word, known) for word in every_word):
        return None
    return next(
        (number for number in form.numbers() if not all(_has(word, known) for word in digits(number).split())),
        None,
    )


def sayable(form: NumberForm, known: Container[str]) -> bool:
    """Say whether the known words can say every number of the form, digit by digit."""
    return unsayable(form, known) is None


def _has(word: str, known: Container[str]) -> bool:
    synonyms = {"zero": ZERO_WORDS, "nine": ("nine", "niner"), "point": POINTS, "minus": SIGNS}
    return any(synonym in known for synonym in synonyms.get(word, (word,)))


@lru_cache(maxsize=2 * MOST_DECIMALS + 2)
def _numeral(decimals: int, *, may_omit_point: bool) -> Numeral:
    """Return the numeral of a number in units of the last of so many decimals."""
    if decimals == 0:
        return WHOLE
    unit = 10**decimals
    # Two digits after the point are also said as one number: "nine point thirty", "nine thirty".
    fraction = AnyOf((digit_string(2), TWO_DIGITS)) if decimals == 2 else digit_string(decimals)
    ways: list[Numeral] = [Joined(AnyOf((WHOLE, NOTHING)), unit, POINTS, fraction)]
    if may_omit_point:
        from_zero = ZERO if decimals == 1 else Joined(ZERO, unit // 10, ("",), digit_string(decimals - 1))
        ways += [
            Joined(UNLENGTHENED, unit, ("",), fraction),
            Joined(ROUND_TENS, unit, ("",), from_zero),  # "twenty oh", but "twenty five" is 25
        ]
        if decimals == 2:
            ways.append(Joined(ROUND_TENS, unit, ("",), TWO_DIGITS))
    return AnyOf(tuple(ways))
