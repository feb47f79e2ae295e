"""How loud words are, and words brought to the loudness of each other before they are joined."""

import random

import numpy as np
import pytest

from handsfree.lexicon.pronunciation import Pronunciations
from models.training.loudness import active_power, gains
from models.training.mixing import Mixer
from models.training.sound_store import RATE, Utterance


def tone(loudest: float, seconds: float = 0.3) -> np.ndarray:
    """A tone of 500 Hz between two stretches of silence."""
    quiet = np.zeros(RATE // 10)
    sound = loudest * np.sin(2 * np.pi * 500 * np.arange(round(RATE * seconds)) / RATE)
    return np.concatenate([quiet, sound, quiet]).astype(np.float32)


def test_the_power_of_a_tone_is_half_its_square_however_long_the_silence_around_it():
    """The mean square of a sine, textbook."""
    assert active_power(tone(0.5)) == pytest.approx(0.125, rel=0.01)
    assert active_power(np.zeros(RATE)) == 0.0
    assert active_power(np.zeros(5)) == 0.0


def test_words_forty_decibels_apart_become_as_loud_as_is_asked():
    words = [np.zeros(RATE, np.float32), tone(0.4), tone(0.004), tone(0.1)]
    found = gains(words, [0.0, 0.0, 0.0, -6.0])
    levels = [active_power(word * gain) for word, gain in zip(words, found, strict=True)]
    assert levels[0] == 0.0
    assert levels[2] == pytest.approx(levels[1], rel=1e-3)
    assert 10 * np.log10(levels[3] / levels[1]) == pytest.approx(-6.0, abs=0.01)


def test_no_word_of_a_training_utterance_is_far_fainter_than_its_neighbours():
    """Words of one speaker, some recorded 40 dB louder; utterances are drawn, and each tone in them measured."""
    cut = (0, RATE // 4, RATE // 2)
    sources = ("an4 a", "commands a", "digits a", "neural a", "espeak a")
    utterances = [
        Utterance(tone(loudest), ("one",), speaker, cuts=cut[:2] if speaker == "an4 a" else None)
        for speaker in sources
        for loudest in (0.4, 0.004)
    ]
    mixer, chance = Mixer(utterances, Pronunciations()), random.Random(1)
    several = 0
    for _ in range(200):
        sound, _ = mixer.draw(chance)
        frames = np.abs(sound[: len(sound) // 320 * 320].reshape(-1, 320).astype(np.int32)).max(axis=1)
        heard = frames > frames.max() / 200
        begins = np.flatnonzero(heard & ~np.r_[False, heard[:-1]])
        ends = np.flatnonzero(heard & ~np.r_[heard[1:], False])
        peaks = [frames[begin : end + 1].max() for begin, end in zip(begins, ends, strict=True) if end > begin + 2]
        several += len(peaks) > 1
        if len(peaks) > 1:
            assert 20 * np.log10(max(peaks) / min(peaks)) < 11
    assert several > 50
