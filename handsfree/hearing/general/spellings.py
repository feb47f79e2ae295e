"""How a sentence of ours may be written by somebody who writes what they hear: "nine point three" or "9.3".

The figures follow from the number rules of the language, not from a table here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from typing import Final

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.numbers import MOST_DIGITS, NumberForm, Numbers

_ANY_WHOLE: Final = NumberForm(Decimal(0), Decimal(10**MOST_DIGITS - 1), 0, 0)
_LONGEST_NAME: Final = 6
"""Words that name one number ("nine hundred and ninety nine" has five)."""
_PAUSE_MS: Final = 120
"""A gap between two words that a writer would mark."""


@dataclass(frozen=True)
class _Part:
    """A word, a number or a point as it is said and in figures; `first` is the place of its first word."""

    said: str
    figures: str
    first: int
    number: bool = False
    point: bool = False


class Spellings:
    """Writes sentences of a language, each in the ways that one may meet."""

    def __init__(self, numbers: Numbers) -> None:
        self._numbers = numbers
        self._values: dict[tuple[str, ...], str | None] = {}

    def of(self, words: Sequence[str], pauses: frozenset[int] = frozenset()) -> tuple[str, ...]:
        """Return the ways to write a sentence; `pauses` are the places of words that a pause stands before."""
        parts = tuple(self._parts(tuple(words)))
        texts = [sentence_case(" ".join(part.said for part in parts))]
        if any(part.number for part in parts):
            if not any(part.point for part in parts):
                texts.append(sentence_case(", ".join(part.said for part in parts)))
            texts += [_in_figures(parts, lambda _, mark=mark: mark) for mark in ("", " ", ", ", "-")]  # type: ignore[misc]
            texts += [_in_figures(parts, _at(pauses, mark)) for mark in (", ", " ") if pauses]
        else:
            texts.append(f"{texts[0]}!")
        ended = [f"{text}." for text in texts if not text.endswith("!")]
        small = [] if any(part.number for part in parts) else [" ".join(words)]  # nobody writes a number so
        return tuple(dict.fromkeys([*ended, *texts, *small]))

    def _parts(self, words: tuple[str, ...]) -> Iterator[_Part]:
        place = 0
        while place < len(words):
            longest = min(_LONGEST_NAME, len(words) - place)
            for length in range(longest, 0, -1):
                here = words[place : place + length]
                if (figures := self._named(here)) is not None:
                    said = "-".join(here) if length == 2 else " ".join(here)
                    yield _Part(said, figures, place, number=True)
                    break
            else:
                length, word = 1, words[place]
                point = word in self._numbers.points
                yield _Part(word, "." if point else word, place, point=point)
            place += length

    def _named(self, words: tuple[str, ...]) -> str | None:
        """Return the figures of a number that the words name as one; None where they name two side by side."""
        value = self._value(words)
        for cut in range(1, len(words) if value is not None else 0):
            first, second = self._value(words[:cut]), self._value(words[cut:])
            if first is not None and second is not None and first + second == value:
                return None
        return value

    def _value(self, words: tuple[str, ...]) -> str | None:
        if not self._words.issuperset(words):
            return None
        if words not in self._values:
            read = self._numbers.read(words, _ANY_WHOLE)
            self._values[words] = str(next(iter(read))) if len(read) == 1 else None
        return self._values[words]

    @cached_property
    def _words(self) -> frozenset[str]:
        return self._numbers.words()


def _in_figures(parts: Sequence[_Part], mark: Callable[[_Part], str]) -> str:
    """Return the sentence in figures, with a mark before each number that follows another."""
    text = ""
    for place, part in enumerate(parts):
        before = parts[place - 1] if place else None
        if before is None or before.point or (part.point and before.number):
            gap = ""
        elif part.number and before.number:
            gap = mark(part)
        else:
            gap = ", " if mark(part) == ", " else " "
        text += gap + part.figures
    return sentence_case(text)


def _at(pauses: frozenset[int], mark: str) -> Callable[[_Part], str]:
    return lambda part: mark if part.first in pauses else ""


def pauses_of(times: Iterable[tuple[int, int]]) -> frozenset[int]:
    """Return before which words a pause stands, by their beginnings and ends in ms."""
    listed = list(times)
    gaps = enumerate(pairwise(listed), start=1)
    return frozenset(place for place, ((_, end), (begin, _)) in gaps if begin - end >= _PAUSE_MS)
