"""How one language builds its numerals, as it stands in the language's file: named rules of four kinds.

- names: `unit: {one: 1, two: 2}` - words and what they count; the empty text counts without a word;
- choice: `below-hundred: [unit, two-digits]` - any one of several rules;
- joining: `hundreds: {head: unit, times: 100, between: [hundred, hundred and], tail: below-hundred}` - the head
  times a number plus the tail, with words between them; without a tail it is zero. `tail-first: true` where the
  tail is said before the head ("ein und zwanzig"); `one-word: true` where all is written as one word;
- string: `digits: {first: unit, then: digit, lengths: [2, 9]}` - digits one by one.

`compiled` turns them into numerals (`numerals.py`), which both say and read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from handsfree.lexicon.numerals import NOTHING, AnyOf, Joined, Named, Numeral, bounds, meanings, said

MOST_ONE_WORD: Final = 1000
"""Numbers that a rule may write as one word each: they become names, and every name costs."""


class _Rule(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class NamesRule(_Rule):
    """Words and what they count."""

    names: dict[str, Annotated[int, Field(ge=0)]] = Field(min_length=1)


class NumeralChoice(_Rule):
    """Any one of several rules."""

    of: tuple[str, ...] = Field(min_length=1)


class Joining(_Rule):
    """The head times a number plus the tail."""

    head: str
    times: int = Field(ge=2)
    between: tuple[str, ...] = ("",)
    tail: str | None = None
    tail_first: bool = Field(default=False, alias="tail-first")
    one_word: bool = Field(default=False, alias="one-word")


class DigitString(_Rule):
    """Digits one by one, from the least to the greatest length."""

    first: str
    then: str
    lengths: tuple[int, int]


def _rule(content: Any) -> Any:
    """Return a rule by its shape in the file; what has no such shape is left to be told as wrong."""
    if isinstance(content, list):
        return NumeralChoice(of=tuple(str(name) for name in content))
    if isinstance(content, dict) and content and all(type(number) is int for number in content.values()):
        return NamesRule(names=content)
    if isinstance(content, dict) and "head" in content:
        return Joining.model_validate(content)
    if isinstance(content, dict) and "first" in content:
        return DigitString.model_validate(content)
    if isinstance(content, _Rule):
        return content
    message = "a rule is names {word: number}, a list of rules, {head, times, ...} or {first, then, lengths}"
    raise ValueError(message)


Rule = Annotated[NamesRule | NumeralChoice | Joining | DigitString, BeforeValidator(_rule)]


def compiled(rules: Mapping[str, NamesRule | NumeralChoice | Joining | DigitString]) -> dict[str, Numeral]:
    """Return the numeral of each rule; ValueError naming the rule that is unknown, circular or ambiguous."""
    return _Compiler(rules).all()


class _Compiler:
    def __init__(self, rules: Mapping[str, NamesRule | NumeralChoice | Joining | DigitString]) -> None:
        self._rules = rules
        self._done: dict[str, Numeral] = {}
        self._begun: set[str] = set()

    def all(self) -> dict[str, Numeral]:
        return {name: self._numeral(name, name) for name in self._rules}

    def _numeral(self, name: str, asked_by: str) -> Numeral:
        if name in self._done:
            return self._done[name]
        if name not in self._rules:
            message = f"the rule {asked_by!r} names {name!r}, which is no rule"
            raise ValueError(message)
        if name in self._begun:
            message = f"the rule {name!r} is made of itself"
            raise ValueError(message)
        self._begun.add(name)
        self._done[name] = self._made(name)
        return self._done[name]

    def _made(self, name: str) -> Numeral:
        rule = self._rules[name]
        match rule:
            case NamesRule():
                return Named(tuple(rule.names.items()))
            case NumeralChoice():
                return AnyOf(tuple(self._numeral(part, name) for part in rule.of))
            case DigitString():
                first, then = self._numeral(rule.first, name), self._numeral(rule.then, name)
                least, most = rule.lengths
                return AnyOf(tuple(digit_string(first, then, length) for length in range(least, most + 1)))
            case Joining():
                head = self._numeral(rule.head, name)
                tail = NOTHING if rule.tail is None else self._numeral(rule.tail, name)
                if not 0 <= bounds(tail)[0] <= bounds(tail)[1] < rule.times:
                    message = (
                        f"in the rule {name!r} the tail must be below {rule.times}, or numbers become ambiguous"
                    )
                    raise ValueError(message)
                joined = Joined(head, rule.times, rule.between, tail, rule.tail_first)
                return _one_word(name, joined) if rule.one_word else joined


@lru_cache(maxsize=256)
def digit_string(first: Numeral, then: Numeral, length: int) -> Numeral:
    """Return the numeral of exactly so many digits, one by one."""
    if length == 1:
        return first
    return Joined(first, 10 ** (length - 1), ("",), digit_string(then, then, length - 1))


def _one_word(name: str, joined: Joined) -> Named:
    """Return the names of all that the numeral says, each written as one word."""
    low, high = bounds(joined)
    if high - low >= MOST_ONE_WORD:
        message = f"the rule {name!r} would write more than {MOST_ONE_WORD} numbers as one word each"
        raise ValueError(message)
    ways = said(joined, low, high)
    assert ways is not None  # a joining says at least its own least number
    return Named(tuple(sorted(_glued(ways.automaton().sentences(LONGEST_WORD), joined))))


LONGEST_WORD: Final = 12
"""Parts that one word may be put together from."""


def _glued(sentences: Iterator[tuple[str, ...]], joined: Joined) -> Iterator[tuple[str, int]]:
    for words in sentences:
        for number in meanings(joined, words):
            yield "".join(words), number
