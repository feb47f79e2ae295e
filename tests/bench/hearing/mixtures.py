"""Speech mixed with noise at a stated ratio.

Figures on mixtures are figures on mixtures: nobody raised a voice.
"""

from __future__ import annotations

import zlib

import numpy as np

from models.training import recordings
from models.training.loudness import active_power
from models.training.split import Part
from tests.bench.hearing.material import RATE, SPEECH, Clip

RATIOS: tuple[float | None, ...] = (None, 20.0, 15.0, 10.0, 5.0, 0.0)
"""Decibels of speech over noise; None is the recording as it is."""


class Mixer:
    """Mixes clips with recorded noise that was never trained on; the same clip always gets the same noise."""

    def __init__(self, part: Part) -> None:
        self._noises = [one.samples for one in recordings.noises(SPEECH, part) if len(one.samples) > RATE]

    def __call__(self, clip: Clip, ratio: float | None) -> bytes:
        """Return the mixture as 16-bit samples, the loudest speech at -9 dB of full scale, less in loud noise.

        The ratio counts the power of the speech where it is loud (within 30 dB of its loudest 20 ms).
        """
        speech = clip.samples / max(1e-6, np.abs(clip.samples).max()) * 0.35
        if ratio is not None:
            chance = np.random.default_rng(zlib.crc32(clip.name.encode()))
            noise = self._noises[chance.integers(len(self._noises))]
            begin = int(chance.integers(len(noise)))
            noise = np.resize(np.roll(noise, -begin), len(speech))
            noise = noise / np.sqrt(np.mean(noise**2) + 1e-12)
            speech = speech + noise * np.sqrt(active_power(speech)) * 10 ** (-ratio / 20)
        return recordings.pcm(speech / max(1.0, np.abs(speech).max() / 0.99))
