"""The sound of the demo's closet: an invented burner's roar, and a voice mixed into it at a chosen level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
Samples = NDArray[np.int16]

SPEECH_LEVEL = 0.08
"""Root mean square of the voiced part of the technician's speech, full scale 1."""


def burner_roar(seconds: float, seed: int) -> NDArray[np.float64]:
    """Return a roar of unit power: noise that falls with frequency, a fan's harmonics, a slow swell."""
    count = round(seconds * RATE)
    source = np.random.default_rng(seed)
    spectrum = np.fft.rfft(source.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1 / RATE)
    roar = np.fft.irfft(spectrum / np.sqrt(1 + (frequency / 250) ** 2), count)
    time = np.arange(count) / RATE
    fan = sum(np.sin(2 * np.pi * 96 * harmonic * time) / harmonic for harmonic in (1, 2, 3, 5))
    mixed = roar / roar.std() + 0.35 * fan / np.std(fan)
    swelling = mixed * (1 + 0.15 * np.sin(2 * np.pi * 0.7 * time))
    return np.asarray(swelling / swelling.std(), dtype=np.float64)


def in_the_closet(
    speech: Samples, roar: NDArray[np.float64], snr_db: float, before: float, after: float
) -> Samples:
    """Return the speech (16 kHz) with the roar around and under it; `snr_db` is speech power over roar power."""
    clip = speech.astype(np.float64) / 32768
    voiced = clip[np.abs(clip) > 0.02 * np.abs(clip).max()] if clip.size and clip.any() else clip
    level = float(np.sqrt(np.mean(voiced**2))) if voiced.size else 1.0
    clip = clip * (SPEECH_LEVEL / level) if level else clip
    padded = np.concatenate([np.zeros(round(before * RATE)), clip, np.zeros(round(after * RATE))])
    under = roar[: padded.size] * SPEECH_LEVEL * 10 ** (-snr_db / 20)
    return np.asarray(np.clip(padded + under, -1, 1) * 32767, dtype=np.int16)
