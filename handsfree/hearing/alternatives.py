"""What may have been said: alternatives with times and confidences, from the recogniser's scored list."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
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
class Hypothesis:
    """One thing that may have been said; `words` is `[unk]` alone for speech outside the grammar.

    `score` is the natural logarithm of its odds against the best alternative: 0 for the best. `general` is the
    log likelihood that the general recogniser gives it, `habit` what it gives the same words on the noise alone;
    None where it was not asked, or put them too far behind to say. `phones` is the log likelihood of its phones
    and no others by the phone network; None where that was not asked.
    """

    words: tuple[SpokenWord, ...]
    score: Decimal
    general: Decimal | None = None
    habit: Decimal | None = None
    phones: Decimal | None = None

    @property
    def text(self) -> tuple[str, ...]:
        """The words alone."""
        return tuple(word.word for word in self.words)


@dataclass(frozen=True)
class ScoreCalibration:
    """How the recogniser's scores become odds; each model brings its own, fitted on speakers kept for that.

    Differences of score are divided by `score_scale`. How well a sentence fits its sound is its score for
    each of its phones; the chance that it is of the grammar at all is the logistic function of `base` +
    `steepness` * fit. Steepness 0 judges nothing and trusts the scores alone.
    """

    score_scale: float = 1.0
    base: float = 0.0
    steepness: float = 0.0

    def known(self, score: float, phones: int) -> float:
        """Return the chance that a sentence of so many phones with this score is of the grammar."""
        if self.steepness == 0 or phones == 0:
            return 1.0
        depth = self.base + self.steepness * score / phones
        return 1.0 / (1.0 + math.exp(-max(-_DEEPEST, min(_DEEPEST, depth))))


_DEEPEST: Final = 30.0


@dataclass
class _Scored:
    words: tuple[tuple[str, int, int], ...]
    score: float
    share: float = 0.0

    @property
    def text(self) -> tuple[str, ...]:
        return tuple(word for word, _, _ in self.words)


def from_scored(
    heard: Sequence[Mapping[str, Any]],
    automaton: WordAutomaton,
    judgement: ScoreCalibration,
    phones_in: Callable[[str], int] = len,
) -> tuple[Hypothesis, ...]:
    """Turn the recogniser's list into alternatives of the grammar, best first.

    `heard` holds mappings with `confidence` (a log-likelihood) and, when words were heard, `result`: a
    list of `word`, `start` and `end` in seconds; `phones_in` counts the phones of a word. Sentences that the
    grammar does not hold become `[unk]`, which also gets the odds that the best sentence is none of the
    grammar. Silence takes its share of the odds but is not returned; when it is the best, nothing is.
    """
    scored: list[_Scored] = []
    for entry in heard:
        words = tuple(
            (str(word["word"]), round(word["start"] * 1000), round(word["end"] * 1000))
            for word in entry.get("result", ())
        )
        if words and not automaton.accepts(word for word, _, _ in words):
            words = ((UNKNOWN, words[0][1], words[-1][2]),)
        one = _Scored(words, float(entry["confidence"]))
        if not any(one.text == other.text for other in scored):
            scored.append(one)
    _share_odds(scored, judgement)
    _doubt(scored, judgement, phones_in)
    scored.sort(key=lambda one: -one.share)
    if not scored or not scored[0].words:
        return ()
    best = scored[0].share
    return tuple(
        Hypothesis(
            tuple(
                SpokenWord(*word, _rounded(sum(other.share for other in scored if _has(other, word))))
                for word in one.words
            ),
            _rounded(math.log(one.share / best)),
        )
        for one in scored
        if one.words and one.share > 0
    )


def _share_odds(scored: Sequence[_Scored], judgement: ScoreCalibration) -> None:
    best = max((one.score for one in scored), default=0.0)
    odds = [math.exp((one.score - best) / judgement.score_scale) for one in scored]
    for one, odd in zip(scored, odds, strict=True):
        one.share = odd / sum(odds)


def _doubt(scored: list[_Scored], judgement: ScoreCalibration, phones_in: Callable[[str], int]) -> None:
    """Move to `[unk]` what the best sentence of the grammar, with no unknown part, lacks in fit."""
    sentences = [one for one in scored if one.words and UNKNOWN not in one.text]
    if not sentences:
        return
    best = max(sentences, key=lambda one: one.share)
    known = judgement.known(best.score, sum(phones_in(word) for word in best.text))
    doubted = 0.0
    for one in sentences:
        doubted += one.share * (1 - known)
        one.share *= known
    unknown = next((one for one in scored if one.text == (UNKNOWN,)), None)
    if unknown is None and doubted > 0:
        unknown = _Scored(((UNKNOWN, best.words[0][1], best.words[-1][2]),), best.score)
        scored.append(unknown)
    if unknown is not None:
        unknown.share += doubted


def _has(other: _Scored, word: tuple[str, int, int]) -> bool:
    """Say whether an alternative has the word somewhere within the same stretch of sound."""
    text, start, end = word
    return any(text == name and begin < end and start < stop for name, begin, stop in other.words)


def _rounded(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(_STEP)
