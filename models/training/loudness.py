"""How loud speech is, and words brought to about the loudness of each other.

People were recorded word by word, some words up to 40 dB louder than others of the same speaker. Nobody says a
reading like that, and in noise its faint words are not there at all.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

_FRAME = 320
_QUIETEST = 1e-3

Samples = npt.NDArray[np.float32 | np.float64 | np.int16]


def active_power(speech: Samples) -> float:
    """Return the mean square of the samples (any unit) where it is loud: within 30 dB of the loudest 20 ms."""
    frames = speech[: len(speech) // _FRAME * _FRAME].reshape(-1, _FRAME).astype(np.float64)
    power = (frames**2).mean(axis=1)
    return float(power[power > power.max(initial=0.0) * _QUIETEST].mean()) if power.any() else 0.0


def gains(words: Sequence[Samples], louder_db: Sequence[float]) -> Sequence[float]:
    """Return what to multiply each word with, so that it is so many decibels louder than the first was.

    Silence is left alone, and so is what comes before the first sound.
    """
    powers = [active_power(word) for word in words]
    first = next((power for power in powers if power > 0), 0.0)
    return [
        (first / power) ** 0.5 * 10 ** (louder / 20) if power > 0 else 1.0
        for power, louder in zip(powers, louder_db, strict=True)
    ]
