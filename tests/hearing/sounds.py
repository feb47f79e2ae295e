"""Sound for the tests: a burner's noise by calculation, the tool's own voice, and mixtures of both."""

import functools
from pathlib import Path

import numpy as np
import pytest

from handsfree.speaking.voice import Voice

SHARED = Path(__file__).parents[3] / "shared" / "speech"
FULL = 32768


def burner_noise(seconds, seed=1):
    """Noise that falls by 6 dB an octave above 300 Hz, as a roar does; effective value 1."""
    samples = round(seconds * 16000)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=samples))
    spectrum /= 1 + np.arange(len(spectrum)) * 16000 / samples / 300
    noise = np.fft.irfft(spectrum, samples)
    return noise / noise.std()


@functools.cache
def _rendered(texts):
    voice = Voice()
    try:
        sounds = [voice.render(text) for text in texts]
    finally:
        voice.close()
    if voice.notice:
        pytest.skip(voice.notice)
    return [sound.at_rate(16000).samples.astype(float) for sound in sounds]


def spoken(*parts):
    """The parts as one speaker says them; a number is a pause in seconds. Effective value about 2000."""
    texts = tuple(part for part in parts if isinstance(part, str))
    rendered = dict(zip(texts, _rendered(texts), strict=True))
    wave = np.concatenate(
        [rendered[part] if isinstance(part, str) else np.zeros(round(part * 16000)) for part in parts]
    )
    voiced = wave[np.abs(wave) > 200]
    return wave * (2000 / np.sqrt(np.mean(voiced**2)))


def mixed(speech, ratio_db, seed=1):
    """Speech of effective value 2000 in burner noise so much weaker (in dB), as int16."""
    wave = speech + burner_noise(len(speech) / 16000, seed)[: len(speech)] * 2000 * 10 ** (-ratio_db / 20)
    return np.clip(np.rint(wave), -FULL, FULL - 1).astype(np.int16)
