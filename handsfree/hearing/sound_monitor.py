"""During a visit: is the sound still good enough, and when is it worth a word."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from statistics import median
from typing import Literal

from handsfree.hearing.sound_check import POOR_DB, QUIET_SPEECH_DB, REFUSED_DB
from handsfree.hearing.utterance import Utterance

Fault = Literal["too-noisy", "too-loud", "too-quiet", "lost"]

UTTERANCES = 3
"""So many in a row are judged by their middle: a single one may be a cough."""
CLIPPED = 2
LOST_BLOCKS = 10
"""A fifth of a second of sound."""
EVERY_MS = 300_000
"""One word of advice in five minutes at most; that it is too noisy is said once, until it was good again."""
NOISE_MS = 10_000
DROWNED_DB = 0.0
"""Noise that has stood so near a person's usual level for ten seconds leaves nothing to be understood."""


@dataclass(frozen=True)
class Poor:
    """What is wrong, with the levels (dB of full scale) that show it."""

    fault: Fault
    noise_db: float
    speech_db: float | None
    lost_blocks: int


class SoundMonitor:
    """Watches one visit. Its times are those of the visit, in ms."""

    def __init__(self) -> None:
        self._speech: deque[float] = deque(maxlen=UTTERANCES)
        self._ratios: deque[float] = deque(maxlen=UTTERANCES)
        self._clipped: deque[bool] = deque(maxlen=UTTERANCES)
        self._lost_blocks = self._lost_told = 0
        self._noisy = False
        self._drowned_since: int | None = None
        self._advised_at: int | None = None

    def heard(self, utterance: Utterance, lost_blocks: int, at: int, *, busy: bool) -> Poor | None:
        """Take an utterance, and how many blocks of sound were lost so far; return what it is time to say.

        While a person is `busy` with readings that is only that it is too noisy for them.
        """
        self._speech.append(utterance.speech_db)
        self._ratios.append(utterance.speech_db - utterance.noise_db)
        self._clipped.append(utterance.clipped)
        self._lost_blocks = lost_blocks
        if len(self._ratios) < UTTERANCES:
            return None
        ratio = median(self._ratios)
        self._noisy = self._noisy and ratio < POOR_DB
        if ratio < REFUSED_DB:
            return self._too_noisy(utterance.noise_db, at)
        fault: Fault | None = None
        if sum(self._clipped) >= CLIPPED:
            fault = "too-loud"
        elif lost_blocks - self._lost_told >= LOST_BLOCKS:
            fault = "lost"
        elif median(self._speech) < QUIET_SPEECH_DB:
            fault = "too-quiet"
        if busy or fault is None or (self._advised_at is not None and at - self._advised_at < EVERY_MS):
            return None
        self._advised_at, self._lost_told = at, lost_blocks
        return self._poor(fault, utterance.noise_db)

    def noise(self, noise_db: float, at: int) -> Poor | None:
        """Take the level of the noise while nobody speaks and the tool is silent; return what it is time to say.

        In such noise there may be no utterance any more that could show it.
        """
        if len(self._speech) < UTTERANCES or median(self._speech) - noise_db > DROWNED_DB:
            self._drowned_since = None
            return None
        if self._drowned_since is None:
            self._drowned_since = at
        return self._too_noisy(noise_db, at) if at - self._drowned_since >= NOISE_MS else None

    def interrupted(self) -> None:
        """Begin the watch of the noise anew: the tool, or somebody, speaks."""
        self._drowned_since = None

    def _too_noisy(self, noise_db: float, at: int) -> Poor | None:
        if self._noisy:
            return None
        self._noisy, self._advised_at = True, at
        return self._poor("too-noisy", noise_db)

    def _poor(self, fault: Fault, noise_db: float) -> Poor:
        speech_db = round(median(self._speech), 1) if self._speech else None
        return Poor(fault, round(noise_db, 1), speech_db, self._lost_blocks)
