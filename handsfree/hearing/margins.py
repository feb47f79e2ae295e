"""What the recogniser adds to all sound: faint noise, and margins of it around each utterance.

Training adds the same, so that the network meets no edge that it has not learned.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from handsfree.hearing.resampling import RATE

_FAINT: Final = np.random.default_rng(0).integers(-1, 2, RATE)
"""One unit of noise, added to all sound; the same on every run, so that the same sound is always heard alike.

A headset that shuts its microphone between words sends exact zeros, and so do some recordings; no training
sound has them: of 20 rendered phrases 16 were heard right so, and 20 with this.
"""
MARGIN_MS: Final = 150
"""Faint noise before and after an utterance, for recordings that are cut close around the words.

No training sound is: of the tuning part's telephone digits, so cut, 95 of 100 were heard right without it
and 98 with it, and by a net that was trained for longer 75 and 98.
"""


def margin() -> bytes:
    """Return a margin: int16 sound of nothing but faint noise."""
    return with_faint_noise(bytes(2 * RATE * MARGIN_MS // 1000))


def with_faint_noise(pcm: bytes) -> bytes:
    """Return int16 sound with one unit of noise added."""
    samples = np.frombuffer(pcm, "<i2").astype(np.int32)
    return np.clip(samples + np.resize(_FAINT, len(samples)), -32768, 32767).astype("<i2").tobytes()
