"""The strict reader of spoken numbers: what can be said for a number, and what said words mean.

How a language builds its numbers is data (`Numbers`, a part of the language's file); how they are read is here.

Nothing is guessed or added up: words outside the language of a form have no meaning, and words that can
mean several numbers give all of them. Values are exact decimals whose exponent is the resolution that was
said: "nine point three oh" is 9.30, "nine" is 9 even for an instrument that shows tenths.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import cached_property
from itertools import pairwise
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from handsfree.lexicon.automaton import Pattern, WordAutomaton, choice, exactly, phrases, sequence
from handsfree.lexicon.number_rules import Rule, compiled, digit_string
from handsfree.lexicon.numerals import NOTHING, AnyOf, Joined, Named, Numeral, meanings, said
from handsfree.problem import Problem

MOST_DECIMALS = 4
MOST_DIGITS = 9
"""Digits before the point that can be said."""
LONGEST_SENTENCE = 16
"""Words that one number may take."""


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
        if max(abs(self.low), abs(self.high)) >= 10**MOST_DIGITS:
            raise Problem(f"{self.low} to {self.high} has more than {MOST_DIGITS} digits before the point")
        if not self.grid(self.decimals):
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

    def grid(self, decimals: int) -> range:
        """Return the range in units of the last of so many decimals."""
        low = self.low.scaleb(decimals).to_integral_value(ROUND_CEILING)
        high = self.high.scaleb(decimals).to_integral_value(ROUND_FLOOR)
        return range(int(low), int(high) + 1)

    def numbers(self) -> Iterator[Decimal]:
        """Yield every number that the instrument can show, from low to high."""
        return (Decimal(scaled).scaleb(-self.decimals) for scaled in self.grid(self.decimals))


class SpokenNumbers(BaseModel):
    """How the tool itself says a number: digit by digit (ICAO Annex 10, 5.2.1.4.1)."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    digits: tuple[str, ...] = Field(min_length=10, max_length=10)
    """Zero to nine, a word each."""
    point: str
    minus: str


class Pointless(BaseModel):
    """One way to leave the point out: what stands before it, and what after ("ten three" is 10.3)."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    before: str
    """A rule."""
    after: str
    """A rule, or "fraction" for all that may follow a point, or "from zero" for digits that begin with zero."""
    decimals: int | None = None
    """Only with so many digits after the point; with any number of them when left out."""


class Numbers(BaseModel):
    """The numbers of one language."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    said: SpokenNumbers
    points: tuple[str, ...] = Field(min_length=1)
    signs: tuple[str, ...] = Field(min_length=1)
    written_point: Literal[".", ","] = Field(default=".", alias="written-point")
    """The sign that parts whole from fraction when a number is typed."""
    whole: str
    """The rule of every whole number, zero included."""
    digit: str
    """The rule of a single digit, one word each."""
    fractions: dict[int, tuple[str, ...]] = {}
    """How many digits after the point -> rules that say them as one number ("nine point thirty")."""
    pointless: tuple[Pointless, ...] = ()
    twins: tuple[tuple[str, str], ...] = ()
    """Words for numbers that sound alike (fifteen, fifty): such a number is asked for digit by digit."""
    rules: dict[str, Rule]

    @model_validator(mode="after")
    def _compiles(self) -> Self:
        for name, number in ((word, at) for at, word in enumerate(self.said.digits)):
            if number not in self.digit_words or name not in self.digit_words[number]:
                message = f"the tool says {name!r} for {number}, which the rule {self.digit!r} does not hear"
                raise ValueError(message)
        if self.said.point not in self.points or self.said.minus not in self.signs:
            message = "the tool says a point or a sign that is not heard"
            raise ValueError(message)
        for decimals in range(MOST_DECIMALS + 1):
            self._numeral(decimals, may_omit_point=True)
        return self

    @cached_property
    def _numerals(self) -> dict[str, Numeral]:
        return compiled(self.rules)

    def _rule(self, name: str) -> Numeral:
        if name not in self._numerals:
            message = f"there is no rule {name!r}"
            raise ValueError(message)
        return self._numerals[name]

    @cached_property
    def digit_words(self) -> dict[int, tuple[str, ...]]:
        """Every digit with its words."""
        found: dict[int, tuple[str, ...]] = {}
        for words, number in _names(self._rule(self.digit)):
            found[number] = (*found.get(number, ()), words)
        return found

    @cached_property
    def single_words(self) -> frozenset[str]:
        """The words that say one digit, the point or the sign."""
        digits = [word for words in self.digit_words.values() for word in words]
        return frozenset({*digits, *self.points, *self.signs})

    def words(self) -> frozenset[str]:
        """Return every word of a number."""
        anything = NumberForm(Decimal(0), Decimal(10**MOST_DIGITS - 1), 0, MOST_DECIMALS)
        return self.pattern(anything).automaton().words() | {*self.signs}

    @cached_property
    def twin_words(self) -> frozenset[str]:
        """The words for numbers that have a twin which sounds alike."""
        return frozenset(word for pair in self.twins for word in pair)

    @cached_property
    def _patterns(self) -> dict[NumberForm, Pattern]:
        return {}

    def pattern(self, form: NumberForm) -> Pattern:
        """Return every way to say a number of the form."""
        if form not in self._patterns:
            self._patterns[form] = exactly(self._zeros_alike(choice(*self._ways(form)).automaton()))
        return self._patterns[form]

    def _ways(self, form: NumberForm) -> Iterator[Pattern]:
        for decimals in range(form.most_decimals + 1):
            grid = form.grid(decimals)
            if not grid:
                continue
            numeral = self._numeral(decimals, may_omit_point=decimals == form.decimals)
            if grid[-1] >= 0 and (plain := said(numeral, max(grid[0], 0), grid[-1])):
                yield plain
            if grid[0] < 0 and (negated := said(numeral, max(-grid[-1], 0), -grid[0])):
                yield sequence(phrases(self.signs), negated)

    def _zeros_alike(self, automaton: WordAutomaton) -> WordAutomaton:
        """Return the language without "zero oh" and the like: nobody changes the word between two digits.

        A recogniser easily hears the end of "zero" as one more "oh"; ten times a reading is no small error.
        """
        zeros = self.digit_words[0]
        arcs: list[tuple[int, str | None, int]] = []
        lasts = ("", *zeros)
        width = len(lasts)
        for source, word, target in automaton.arcs:
            for place, last in enumerate(lasts):
                if word in zeros and last and last != word:
                    continue
                arcs.append(
                    (source * width + place, word, target * width + lasts.index(word if word in lasts else ""))
                )
        size = width * (1 + max((max(a, b) for a, _, b in automaton.arcs), default=0))
        ends = [(final * width + place, None, size) for final in automaton.finals for place in range(width)]
        return Pattern([*arcs, *ends], 0, size, size + 1).automaton()

    def read(self, words: Sequence[str], form: NumberForm) -> frozenset[Decimal]:
        """Return every number of the form that the words can mean; none when they are no such number.

        A number said with fewer digits after the point than the instrument shows keeps the fewer digits
        (ask `form.shows`). "Minus zero" is zero, for an instrument that can go below it.
        """
        zeros = self.digit_words[0]
        if any(a in zeros and b in zeros and a != b for a, b in pairwise(words)):
            return frozenset()
        signed = bool(words) and words[0] in self.signs
        magnitude = tuple(words[1:] if signed else words)
        found = set()
        for decimals in range(form.most_decimals + 1):
            grid = form.grid(decimals)
            if signed and grid and grid[0] >= 0:
                continue
            for number in meanings(self._numeral(decimals, may_omit_point=decimals == form.decimals), magnitude):
                scaled = -number if signed else number
                if scaled in grid:
                    found.add(Decimal(scaled).scaleb(-decimals))
        return frozenset(found)

    def digits(self, value: Decimal) -> str:
        """Return the tool's words for a finite number, every digit given: 9.30 is "nine point three zero"."""
        words = {".": self.said.point, "-": self.said.minus}
        return " ".join(words.get(sign) or self.said.digits[int(sign)] for sign in f"{value:f}")

    def typed(self, piece: str) -> list[str] | None:
        """Return a number as it was typed ("9.3", "-2") in words, digit by digit; None when it is no number."""
        number = piece.removeprefix("-").replace(self.written_point, ".")
        if not number or not all(sign.isdecimal() or sign == "." for sign in number):
            return None
        words = [self.said.point if sign == "." else self.said.digits[int(sign)] for sign in number]
        return [self.said.minus, *words] if piece.startswith("-") else words

    @cached_property
    def _apart(self) -> dict[str, bool]:
        return {}

    def ask_apart(self, value: Decimal) -> bool:
        """Say whether some way to say the number makes another number with a twin word: fifteen and fifty.

        "Forty four" has none, since "fourteen four" is no whole number.
        """
        key = f"{abs(value):f}"
        if key not in self._apart:
            self._apart[key] = self._has_twin(Decimal(key))
        return self._apart[key]

    @cached_property
    def _twins_of(self) -> dict[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for one, other in self.twins:
            found[one] = (*found.get(one, ()), other)
            found[other] = (*found.get(other, ()), one)
        return found

    def _has_twin(self, value: Decimal) -> bool:
        decimals = -int(value.as_tuple().exponent)
        exact = NumberForm(value, value, decimals, decimals)
        anything = NumberForm(Decimal(0), Decimal(10**MOST_DIGITS - 1), decimals, decimals)
        for words in self.pattern(exact).automaton().sentences(LONGEST_SENTENCE):
            twins = [(at, twin) for at, word in enumerate(words) for twin in self._twins_of.get(word, ())]
            if (
                twins
                and str(value) in {str(known) for known in self.read(words, exact)}
                and any(self.read([*words[:at], twin, *words[at + 1 :]], anything) for at, twin in twins)
            ):
                return True
        return False

    def unsayable(self, form: NumberForm, known: Container[str]) -> Decimal | None:
        """Return the least number of the form that the known words cannot say digit by digit, or None.

        With a word for each digit, for the point and for minus, every number of every form is sayable by
        construction; otherwise the numbers are gone through until one lacks a word.
        """
        synonyms = {
            **{word: self.digit_words[digit] for digit, word in enumerate(self.said.digits)},
            self.said.point: self.points,
            self.said.minus: self.signs,
        }
        lacking = {word for word, others in synonyms.items() if not any(other in known for other in others)}
        if not lacking:
            return None
        return next((number for number in form.numbers() if lacking & set(self.digits(number).split())), None)

    @cached_property
    def _decimals(self) -> dict[tuple[int, bool], Numeral]:
        return {}

    def _numeral(self, decimals: int, *, may_omit_point: bool) -> Numeral:
        """Return the numeral of a number in units of the last of so many decimals."""
        key = (decimals, may_omit_point)
        if key not in self._decimals:
            self._decimals[key] = self._with_point(decimals, may_omit_point=may_omit_point)
        return self._decimals[key]

    def _with_point(self, decimals: int, *, may_omit_point: bool) -> Numeral:
        whole, digit = self._rule(self.whole), self._rule(self.digit)
        if decimals == 0:
            return whole
        unit = 10**decimals
        fraction = digit_string(digit, digit, decimals)
        if decimals in self.fractions:
            fraction = AnyOf((fraction, *(self._rule(name) for name in self.fractions[decimals])))
        zero = Named(tuple((word, 0) for word in self.digit_words[0]))
        after = {"fraction": fraction, "from zero": digit_string(zero, digit, decimals)}
        ways: list[Numeral] = [Joined(AnyOf((whole, NOTHING)), unit, self.points, fraction)]
        if may_omit_point:
            ways += [
                Joined(self._rule(way.before), unit, ("",), after.get(way.after) or self._rule(way.after))
                for way in self.pointless
                if way.decimals in {None, decimals}
            ]
        return AnyOf(tuple(ways))


def _names(numeral: Numeral) -> Iterator[tuple[str, int]]:
    """Yield the names of a numeral; ValueError when it is more than names."""
    match numeral:
        case Named():
            yield from numeral.by_words
        case AnyOf():
            for part in numeral.parts:
                yield from _names(part)
        case _:
            message = "the rule of a single digit must consist of names"
            raise ValueError(message)
