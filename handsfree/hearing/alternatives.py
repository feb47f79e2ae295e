"""What may have been said: alternatives with times and confidences, from the recogniser's scored list."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from handsfree.hearing.graph import UNKNOWN
from handsfree.lexicon.automaton import WordAutomaton

_STEP: Final = Decimal("0.001")


@dataclass(frozen=True)
class SpokenWord:
    """A word, where it stands in the sound fed since the grammar was taken up, and how sure it is.

    `confidence` is the share, 0 to 1, of all alternatives' odds that have this word at this time.
    """

    word: str
    start_ms: int
    end_ms: int
    confidence: Decimal


@dataclass(frozen=True)
class Alternative:
    """One thing that may have been said; `words` is `[unk]` alone for speech outside the grammar.

    `score` is the natural logarithm of its odds against the best alternative: 0 for the best.
    """

    words: tuple[SpokenWord, ...]
    score: Decimal

    @property
    def text(self) -> tuple[str, ...]:
        """The words alone."""
        return tuple(word.word for word in self.words)


@dataclass(frozen=True)
class _Scored:
    words: tuple[tuple[str, int, int], ...]
    log_odds: float


def from_scored(
    heard: Sequence[Mapping[str, Any]], automaton: WordAutomaton, score_scale: float
) -> tuple[Alternative, ...]:
    """Turn the recogniser's list into alternatives of the grammar, best first.

    `heard` holds mappings with `confidence` (a log-likelihood) and, when words were heard, `result`: a
    list of `word`, `start` and `end` in seconds. Log-likelihoods are divided by `score_scale` (above 0).
    Sentences that the grammar does not hold become `[unk]`; of several such only the best stays. Silence
    takes its share of the odds but is not returned; when it is the best, nothing is.
    """
    scored: list[_Scored] = []
    for entry in heard:
        words = tuple(
            (str(word["word"]), round(word["start"] * 1000), round(word["end"] * 1000))
            for word in entry.get("result", ())
        )
        if words and not automaton.accepts(word for word, _, _ in words):
            words = ((UNKNOWN, words[0][1], words[-1][2]),)
        if not any(_texts(words) == _texts(other.words) for other in scored):
            scored.append(_Scored(words, float(entry["confidence"]) / score_scale))
    scored.sort(key=lambda one: -one.log_odds)
    if not scored or not scored[0].words:
        return ()
    best = scored[0].log_odds
    total = sum(math.exp(one.log_odds - best) for one in scored)
    return tuple(
        Alternative(
            tuple(
                SpokenWord(
                    *word, _rounded(sum(_odds(other, best) for other in scored if _has(other, word)) / total)
                )
                for word in one.words
            ),
            _rounded(one.log_odds - best),
        )
        for one in scored
        if one.words
    )


def _texts(words: tuple[tuple[str, int, int], ...]) -> tuple[str, ...]:
    return tuple(word for word, _, _ in words)


def _odds(one: _Scored, best: float) -> float:
    return math.exp(one.log_odds - best)


def _has(other: _Scored, word: tuple[str, int, int]) -> bool:
    """Say whether an alternative has the word somewhere within the same stretch of sound."""
    text, start, end = word
    return any(text == name and begin < end and start < stop for name, begin, stop in other.words)


def _rounded(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(_STEP)
