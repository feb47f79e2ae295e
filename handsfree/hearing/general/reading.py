"""What the general recogniser wrote, read as sentences of the grammar of the moment."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import islice
from typing import Final

from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.numbers import LONGEST_SENTENCE, MOST_DECIMALS, MOST_DIGITS, NumberForm, Numbers

_FIGURES: Final = re.compile(r"\d+(?:\.\d+)?|\.\d+|[^\W\d_]+(?:'[^\W\d_]+)?")
_LONGEST_NUMBER: Final = 5
"""A longer string of figures is read one figure after the other only."""
MOST_READINGS: Final = 8

Words = tuple[str, ...]


class Readings:
    """Reads written text in a language."""

    def __init__(self, numbers: Numbers) -> None:
        self._numbers = numbers
        self._ways: dict[str, tuple[Words, ...]] = {}

    def of(self, text: str, automaton: WordAutomaton) -> tuple[Words, ...]:
        """Return the sentences of the grammar that a text may write, a few at most."""
        tokens = _FIGURES.findall(text.lower())
        if not tokens:
            return ()
        found = (words for words in self._walk(tokens, (), automaton) if automaton.accepts(words))
        return tuple(dict.fromkeys(islice(found, MOST_READINGS)))

    def _walk(self, tokens: Sequence[str], before: Words, automaton: WordAutomaton) -> Iterator[Words]:
        """Yield what the tokens say, as far as the grammar goes along."""
        if not tokens:
            yield before
            return
        for way in self._said(tokens[0]):
            words = (*before, *way)
            if automaton.state_after(words) is not None:
                yield from self._walk(tokens[1:], words, automaton)

    def _said(self, token: str) -> tuple[Words, ...]:
        if not (token[0].isdigit() or token[0] == "."):
            return ((token,),)
        if token not in self._ways:
            self._ways[token] = tuple(dict.fromkeys([*self._by_figure(token), *self._as_number(token)]))
        return self._ways[token]

    def _by_figure(self, token: str) -> Iterator[Words]:
        """Yield the figures one by one, each zero in the same of its words."""
        digits, said = self._numbers.digit_words, self._numbers.said
        for zero in digits[0]:
            for point in self._numbers.points:
                yield tuple(
                    point if sign == "." else zero if sign == "0" else said.digits[int(sign)] for sign in token
                )

    def _as_number(self, token: str) -> Iterator[Words]:
        """Yield every way to say it as a number."""
        whole, _, fraction = token.partition(".")
        if len(fraction) > MOST_DECIMALS or len(whole) > min(_LONGEST_NUMBER, MOST_DIGITS):
            return
        value, decimals = Decimal(token), len(fraction)
        ways = self._numbers.pattern(NumberForm(value, value, decimals, decimals)).automaton()
        yield from islice(ways.sentences(LONGEST_SENTENCE), 200)
