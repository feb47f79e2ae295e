import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from sounds import burner_noise, mixed, spoken

from handsfree.hearing.sound_check import SoundLevels, advice, measure
from handsfree.hearing.sources import Recording

GOOD = SoundLevels(-55.0, -25.0, 30.0, clipped=False, overflows=0, seconds=6.0)


def levels_of(samples):
    return measure(Recording(samples).blocks())


@pytest.mark.parametrize("ratio_db", [25, 15, 10, 5])
def test_the_measured_ratio_is_that_of_the_mixture(ratio_db):
    """The mixture was made at this ratio of effective values; found within 3.5 dB, as pauses count in one only."""
    levels = levels_of(mixed(spoken(3.0, "nine point three", 0.5, "four point eight", 1.0), ratio_db))
    assert levels.above_noise_db == pytest.approx(ratio_db, abs=3.5)
    assert levels.usable


def test_noise_alone_has_its_own_level_and_no_speech():
    """White and shaped noise of a known effective value: 20 log10(value / full scale)."""
    noise = (burner_noise(6) * 1000).astype(np.int16)
    levels = levels_of(noise)
    assert levels.noise_db == pytest.approx(20 * np.log10(1000 / 32768), abs=0.5)
    assert levels.speech_db is None
    assert not levels.usable
    assert advice(levels) == ("No speech was heard. Speak toward the microphone, or choose another.",)


def test_a_dead_microphone_is_said_to_be_dead():
    assert advice(levels_of(np.zeros(48000, np.int16)))[0].startswith("Nothing comes from the microphone.")
    assert advice(levels_of(np.zeros(0, np.int16)))[0].startswith("Nothing comes from the microphone.")


def test_clipped_speech_is_found_and_the_microphone_is_to_be_turned_down():
    loud = np.clip(spoken(3.0, "nine point three", 1.0) * 20, -32768, 32767).astype(np.int16)
    levels = levels_of(loud)
    assert levels.clipped
    assert "Turn it down" in advice(levels)[0]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({}, "The sound is good."),
        ({"above_noise_db": 12.0}, "Come closer"),
        ({"above_noise_db": 7.0}, "Bring the microphone"),
        ({"above_noise_db": 4.0}, "answer with the keys"),
        ({"speech_db": -50.0}, "Turn it up."),
        ({"speech_db": -5.0}, "Turn it down"),
        ({"overflows": 2}, "Close other programs."),
    ],
)
def test_each_fault_has_its_advice(change, sentence):
    assert sentence in " ".join(advice(replace(GOOD, **change)))


def test_lost_sound_or_too_much_noise_is_not_usable():
    assert GOOD.usable
    assert not replace(GOOD, above_noise_db=4.9).usable
    assert not replace(GOOD, overflows=1).usable
