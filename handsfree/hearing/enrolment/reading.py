"""Reading the words of an enrolment: each is asked for once, and once more where it was not heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib import resources
from typing import Any, Final, Literal

import numpy as np
from ruamel.yaml import YAML

from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.enrolment.likeness import energies, frame_at, loudness
from handsfree.hearing.enrolment.voice import EnrolledVoice, EnrolledWord
from handsfree.hearing.resampling import Samples
from handsfree.lexicon.automaton import WordAutomaton, phrases

NEARLY: Final = Decimal(-6)
"""Asked for the second time, a text that is so near the best was said: who reads is known to read it."""
LEAST_TAKEN: Final = 30
"""Of the forty; fewer say too little of a voice."""
LEAST_ALIKE: Final = 0.5
"""Of the words that were said more than once so many must be likest to themselves, or something is wrong."""

SHORTEST: Final = 4
"""Frames of a word."""
FAINTEST: Final = 1e-3
"""Of its loud frames: what is fainter at the ends of a word is no part of it."""
SILENCE: Final = 3.0
"""Nor what is not so many times as loud as the quietest frame around."""

Outcome = Literal["taken", "again", "passed over", "left"]


@dataclass(frozen=True)
class ReadTexts:
    """What is read, in its order, and what is said to leave it."""

    read: tuple[str, ...]
    leave: tuple[str, ...]

    def grammar(self) -> WordAutomaton:
        """Return what is listened for: all of it at once, so that a text misread is heard as the other."""
        return phrases([*self.read, *self.leave]).automaton()


@cache
def texts() -> ReadTexts:
    """Return what is read in English, the one language that has ears."""
    text = (
        resources.files("handsfree").joinpath("hearing", "enrolment", "english.yaml").read_text(encoding="utf-8")
    )
    found: Any = YAML(typ="safe", pure=True).load(text)
    return ReadTexts((*found["numbers"], *found["calls"]), tuple(found["leave"]))


class VoiceReading:
    """One reading: `asked` is the text of the moment, None at the end; feed `heard` each utterance."""

    def __init__(self, wanted: ReadTexts) -> None:
        self._wanted, self._place, self._again = wanted, 0, False
        self.left = False
        self.taken = 0
        self._said: list[EnrolledWord] = []

    @property
    def asked(self) -> str | None:
        """What is to be read now; None when all was asked for or somebody left."""
        return None if self.left or self._place == len(self._wanted.read) else self._wanted.read[self._place]

    @property
    def place(self) -> int:
        """How many texts are behind us."""
        return self._place

    def heard(self, alternatives: Sequence[Hypothesis], samples: Samples) -> Outcome:
        """Take an utterance (int16, 16 kHz) with what was heard of it."""
        best = " ".join(alternatives[0].text) if alternatives else ""
        if best in self._wanted.leave:
            self.left = True
            return "left"
        asked = self.asked
        least = NEARLY if self._again else Decimal(0)
        for one in alternatives:
            if " ".join(one.text) == asked and one.score >= least:
                self._said += words_of(one, samples)
                self.taken += 1
                self._next()
                return "taken"
        if self._again:
            self._next()
            return "passed over"
        self._again = True
        return "again"

    def voice(self) -> tuple[tuple[EnrolledWord, ...], str]:
        """Return the words that were read; or none, and in one sentence why they cannot be used."""
        said = tuple(self._said)
        if self.taken < LEAST_TAKEN:
            return (), f"Only {self.taken} of {len(self._wanted.read)} were heard. Nothing is kept."
        alike, of = EnrolledVoice(said).likest_to_themselves()
        if alike < LEAST_ALIKE * of:
            return (), f"Only {alike} of {of} words sounded like themselves when said again. Nothing is kept."
        return said, ""

    def _next(self) -> None:
        self._place += 1
        self._again = False


def words_of(one: Hypothesis, samples: Samples) -> Iterator[EnrolledWord]:
    """Yield the words of an utterance (int16, 16 kHz) as they sounded."""
    sound = energies(samples)
    silence = SILENCE * float(sound.sum(axis=1).min())
    for word in one.words:
        stretch = sound[frame_at(word.start_ms) : frame_at(word.end_ms)]
        if len(stretch) < SHORTEST:
            continue
        level = stretch.sum(axis=1)
        voiced = np.flatnonzero(
            level > max(FAINTEST * loudness(stretch), silence)
        )  # times hold the pause behind it
        if len(voiced) and voiced[-1] - voiced[0] + 1 >= SHORTEST:
            yield EnrolledWord(word.word, stretch[voiced[0] : voiced[-1] + 1])
