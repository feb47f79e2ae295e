"""What a call may go through on its way to the recogniser, besides noise."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Final

import numpy as np
import soundfile
from scipy.signal import fftconvolve, resample_poly

from tests.bench.hearing.material import RATE

Change = Callable[[np.ndarray], np.ndarray]

CLOSET_DECAY_S: Final = 0.35
"""Time in which the echo of a tiled closet falls by 60 dB. A judgement."""


def echo(sound: np.ndarray) -> np.ndarray:
    """Stand in a tiled closet, half a metre away: a tail of noise that dies away, as loud as the voice itself."""
    time = np.arange(round(CLOSET_DECAY_S * RATE)) / RATE
    tail = np.random.default_rng(0).standard_normal(len(time)) * np.exp(-6.9 * time / CLOSET_DECAY_S)
    tail[: round(0.003 * RATE)] = 0
    tail /= np.linalg.norm(tail)
    tail[0] = 1.0
    return np.asarray(fftconvolve(sound, tail))


def band(sound: np.ndarray) -> np.ndarray:
    """Go through a channel of 8 kHz, as a telephone's or a headset's."""
    return np.asarray(resample_poly(resample_poly(sound, 1, 2), 2, 1))


def codec(sound: np.ndarray) -> np.ndarray:
    """Go through Opus at its lowest rate of libsndfile's scale."""
    file = io.BytesIO()
    loud = sound / max(1e-6, float(np.abs(sound).max())) * 0.7
    soundfile.write(file, loud, RATE, format="OGG", subtype="OPUS", compression_level=1.0)
    file.seek(0)
    return np.asarray(soundfile.read(file)[0])


def clipped(sound: np.ndarray) -> np.ndarray:
    """Be four times as loud as the microphone can take."""
    most = float(np.abs(sound).max())
    return np.clip(sound, -most / 4, most / 4)


def gain_control(sound: np.ndarray) -> np.ndarray:
    """Be turned up and down by a headset so that all is about as loud: within 20 ms down, within 0.5 s up."""
    block = RATE // 100
    powers = [float(np.sqrt(np.mean(sound[begin : begin + block] ** 2))) for begin in range(0, len(sound), block)]
    most, level, gains = max(powers), max(powers), []
    for power in powers:
        level += (power - level) * (0.5 if power > level else 0.02)
        gains.append(min(10.0, most / max(level, 1e-6)))
    return sound * np.repeat(gains, block)[: len(sound)]


CONDITIONS: Final[dict[str, Change]] = {
    "echo": echo, "8 kHz band": band, "codec": codec, "clipped": clipped, "gain control": gain_control,
}  # fmt: skip
