"""The two tones: one that asks for attention after a wait, and the alarm.

Pitches and lengths are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from handsfree.speaking.sound import Sound

RATE = 22_050
_FADE_S = 0.005


def attention() -> Sound:
    """Return the tone that ends a silent wait: two short notes, a fifth apart, 0.25 s."""
    return Sound(np.concatenate([_note(660, 0.12), _note(990, 0.13)]), RATE)


def alarm() -> Sound:
    """Return the alarm: three pairs of hard notes, 1.2 s."""
    pair = np.concatenate([_note(880, 0.2), _note(1_320, 0.2)])
    return Sound(np.concatenate([pair, pair, pair]), RATE)


def _note(hertz: float, seconds: float) -> np.ndarray[tuple[int], np.dtype[np.int16]]:
    time = np.arange(round(RATE * seconds)) / RATE
    fade = np.minimum(1.0, np.minimum(time, time[::-1]) / _FADE_S)
    # The third harmonic carries on small loudspeakers.
    wave = np.sin(2 * np.pi * hertz * time) + 0.3 * np.sin(6 * np.pi * hertz * time)
    return np.rint(wave * fade * 16_000).astype(np.int16)
