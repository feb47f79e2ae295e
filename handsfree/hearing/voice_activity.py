"""Is somebody speaking: a steady-noise floor in twelve bands, and a library's detector, both must agree.

The library's detector (WebRTC) alone says "speech" nearly all the time beside a burner: on 16 recordings
and calculations of noise it was on in 76 % of the blocks without speech at 10 dB and in 88 % at 5 dB.
How far the bands stand above their own floor tells speech from steady noise there, but not from a knock
in a quiet room, which the library's detector can. Thresholds are from `tests/bench/live/endpoints.py`.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import webrtcvad
from numpy.typing import NDArray

from handsfree.hearing.resampling import RATE, Samples
from handsfree.hearing.sources import BLOCK, BLOCK_MS

_EDGES_HZ = np.array([250, 350, 460, 600, 760, 950, 1200, 1500, 1850, 2250, 2750, 3400, 4200])
"""Where speech stands out of a burner's low roar; about equal steps of pitch as heard."""
_BINS = _EDGES_HZ * 2 * BLOCK // RATE
_WINDOW = np.hanning(2 * BLOCK)
_QUIET_BAND_DB = 12.0
"""The floor never falls below this: about -75 dB of full scale in one band (a silent digital line)."""
_MOST_DB = 20.0
"""No band counts for more than this, so that one whistle is not taken for a voice."""

_FLOOR_BLOCKS = 3000 // BLOCK_MS
_FLOOR_SHARE = 20
"""The floor is what a fifth of the last three seconds stayed below: speech has gaps, a burner has none."""
_HEAD_START, _HEAD_START_DB = 10, 30.0
"""Blocks of a quiet room assumed before the first, so that a recording which begins with a word is heard."""
_FLOOR_EVERY = 5

_SMOOTH_BLOCKS = 3
_BEGIN_DB, _STAY_DB = 4.5, 3.5
_BEGIN_BLOCKS = 4
_VOTES, _VOTES_NEEDED = 5, 2
_STRICTNESS = 2


class VoiceState(StrEnum):
    """Where in an utterance we are."""

    QUIET = "quiet"
    STARTING = "starting"
    SPEAKING = "speaking"
    STOPPING = "stopping"


@dataclass(frozen=True)
class Activity:
    """What one block showed: the state after it, how long nothing was said, levels in dB of full scale."""

    state: VoiceState
    silence_ms: int
    level_db: float
    noise_db: float


class VoiceActivity:
    """Follows the blocks of one source; an utterance is over when its user says so, with `quieten`."""

    def __init__(self) -> None:
        self._detector = webrtcvad.Vad(_STRICTNESS)
        self._before = np.zeros(BLOCK)
        quiet = np.full(len(_BINS) - 1, _HEAD_START_DB)
        self._bands = deque([quiet] * _HEAD_START, _FLOOR_BLOCKS)
        self._floor = quiet
        self._levels: deque[float] = deque(maxlen=_FLOOR_BLOCKS)
        self._noise_db = -90.0
        self._scores = deque([0.0] * _SMOOTH_BLOCKS, _SMOOTH_BLOCKS)
        self._votes = deque([False] * _VOTES, _VOTES)
        self._count = 0
        self._state = VoiceState.QUIET
        self._active_run = 0
        self._silence_ms = 0

    def quieten(self) -> None:
        """End the utterance; what was learned of the noise stays."""
        self._state = VoiceState.QUIET
        self._active_run = 0
        self._scores.extend([0.0] * _SMOOTH_BLOCKS)

    def follow(self, samples: Samples) -> Activity:
        """Take the next block and say what is going on."""
        wave = samples.astype(np.float64)
        level_db = decibels(float(np.mean(wave * wave)) / 32768.0**2)
        self._levels.append(level_db)
        self._scores.append(self._above_floor(wave))
        self._votes.append(self._detector.is_speech(samples.tobytes(), RATE))
        self._step()
        return Activity(self._state, self._silence_ms, level_db, self._noise_db)

    def _above_floor(self, wave: NDArray[np.float64]) -> float:
        power = np.abs(np.fft.rfft(np.concatenate([self._before, wave]) * _WINDOW)) ** 2
        self._before = wave
        sums = np.add.reduceat(power, _BINS)[:-1] / np.diff(_BINS)
        bands = np.maximum(10 * np.log10(sums / BLOCK + 1e-9), _QUIET_BAND_DB)
        self._bands.append(bands)
        if self._count % _FLOOR_EVERY == 0:
            self._floor = np.percentile(np.array(self._bands), _FLOOR_SHARE, axis=0)
            self._noise_db = float(np.percentile(np.array(self._levels), _FLOOR_SHARE))
        self._count += 1
        return float(np.mean(np.clip(bands - self._floor, 0.0, _MOST_DB)))

    def _step(self) -> None:
        score = sum(self._scores) / _SMOOTH_BLOCKS
        begun = self._state in {VoiceState.SPEAKING, VoiceState.STOPPING}
        active = score >= (_STAY_DB if begun else _BEGIN_DB) and sum(self._votes) >= _VOTES_NEEDED
        self._active_run = self._active_run + 1 if active else 0
        self._silence_ms = 0 if active else self._silence_ms + BLOCK_MS
        if begun:
            self._state = VoiceState.SPEAKING if active else VoiceState.STOPPING
        elif self._active_run >= _BEGIN_BLOCKS:
            self._state = VoiceState.SPEAKING
        else:
            self._state = VoiceState.STARTING if active else VoiceState.QUIET


def decibels(power: float) -> float:
    """Return a power (full scale = 1) in dB, never below -90."""
    return float(10 * np.log10(max(power, 1e-9)))
