"""How a person said the words of numbers, and which of the alternatives of an utterance that speaks for.

Only alternatives made of enrolled words alone are weighed, and only against each other: the best of them keeps its
score, so they stand to every stop phrase, and to unknown speech, as they stood. An enrolled word is never one that
a stop or hazard phrase holds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

import numpy as np

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.enrolment.likeness import (
    BANDS,
    Energies,
    Floats,
    as_heard,
    energies,
    features,
    loudness,
    sums,
)
from handsfree.hearing.resampling import RATE, Samples

WEIGHT: Final = Decimal("0.1")
"""What it counts that one sentence lies so much farther from the sound than another, beside our own score."""
MOST_MOVED: Final = Decimal("1.9")
"""Less than any lead that settles something: what is taken, our own ears must have found likeliest, too."""
TOLL: Final = 16.0
"""What each word of a sentence costs beside its frames: in noise any word explains some of them."""
MOST_WEIGHED: Final = 10
"""Of the alternatives; what is further behind was never right."""
LEAST_NOISE_S: Final = 0.2
NOISE_FRAMES: Final = 12
"""So many frames stand for the noise: one alone would not tell how it swells."""
_SILENCE: Final = np.zeros((1, BANDS), np.float32)
"""The energies of nothing at all."""
_STEP: Final = Decimal("0.001")

Words = tuple[str, ...]


@dataclass(frozen=True, eq=False)
class EnrolledWord:
    """A word as it was said once."""

    word: str
    energies: Energies


class EnrolledVoice:
    """The words of one person; `forbidden` are those of stop and hazard phrases, which are left out."""

    def __init__(
        self, said: Iterable[EnrolledWord], forbidden: Iterable[str] = (), weight: Decimal = WEIGHT
    ) -> None:
        never, self._weight = frozenset(forbidden), weight
        self.said = tuple(one for one in said if one.word not in never)
        self._known = frozenset(one.word for one in self.said)

    def weighed(self, samples: Samples, heard: Sequence[Hypothesis], noise: Samples) -> tuple[Hypothesis, ...]:
        """Return the alternatives of an utterance (int16, 16 kHz), those of enrolled words weighed, best first.

        `noise` is what was heard before it; it may be empty.
        """
        own = [one for one in heard if one.words and self._known.issuperset(one.text)][:MOST_WEIGHED]
        if len(own) < 2:
            return tuple(heard)
        sound = energies(samples)
        far = self._far(sound, list(dict.fromkeys(one.text for one in own)), _around(noise, sound))
        least = min(far.values())
        moved = {
            one.text: one.score - min(MOST_MOVED, self._weight * _decimal(far[one.text] - least)) for one in own
        }
        kept = max(one.score for one in own) - max(moved.values())
        weighed = [
            replace(one, score=(moved[one.text] + kept).quantize(_STEP)) if one.text in moved else one
            for one in heard
        ]
        return tuple(sorted(_sure(weighed, moved), key=lambda one: -one.score))

    def likest_to_themselves(self) -> tuple[int, int]:
        """Return how many of the words that were said more than once are likest to themselves, and of how many."""
        right = of = 0
        for one in self.said:
            others = EnrolledVoice(other for other in self.said if other is not one)
            if one.word in others._known:
                far = others._far(one.energies, [(word,) for word in sorted(others._known)], _SILENCE)
                right += min(far, key=lambda words: far[words]) == (one.word,)
                of += 1
        return right, of

    def _far(self, sound: Energies, sentences: Sequence[Words], noise: Energies) -> Mapping[Words, float]:
        """Return how far each sentence lies from the sound; `noise` is some frames without a voice."""
        around = np.asarray(noise.mean(axis=0), np.float64)
        level = max(0.0, loudness(sound) - float(around.sum()))
        wanted = {word for words in sentences for word in words}
        ways: dict[str, list[Floats]] = {}
        for one in self.said:
            if one.word in wanted:
                ways.setdefault(one.word, []).append(features(as_heard(one.energies, level, around)))
        far = sums(features(sound), features(noise), ways, sentences)
        return {words: TOLL * len(words) + float(one) for words, one in zip(sentences, far, strict=True)}


def _around(noise: Samples, sound: Energies) -> Energies:
    """Return some frames of the noise before an utterance; where none was heard, the first of the sound itself."""
    before = energies(noise) if len(noise) >= LEAST_NOISE_S * RATE else sound[:NOISE_FRAMES]
    return before[:: max(1, len(before) // NOISE_FRAMES)][:NOISE_FRAMES]


def _sure(weighed: Sequence[Hypothesis], moved: Mapping[Words, Decimal]) -> list[Hypothesis]:
    """Return the alternatives with the words of those that moved as sure as their scores now say."""
    odds = [math.exp(one.score) for one in weighed]
    shares = [odd / sum(odds) for odd in odds]

    def sure(word: SpokenWord) -> SpokenWord:
        having = (
            share
            for share, one in zip(shares, weighed, strict=True)
            if any(
                word.word == other.word and other.start_ms < word.end_ms and word.start_ms < other.end_ms
                for other in one.words
            )
        )
        return replace(word, confidence=_decimal(min(1.0, sum(having))))

    return [
        replace(one, words=tuple(sure(word) for word in one.words)) if one.text in moved else one
        for one in weighed
    ]


def _decimal(value: float) -> Decimal:
    return Decimal(repr(round(value, 6))).quantize(_STEP)
