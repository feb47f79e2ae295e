import functools
import os
import signal
import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))  # spawned children import the stand-ins by name

import faulty_players

from handsfree.speaking import tones
from handsfree.speaking.sound import Sound
from handsfree.speaking.worker import Loudspeaker


def sound(seconds=1.0):
    return Sound((8000 * np.sin(np.arange(round(16000 * seconds)) / 5)).astype(np.int16), 16000)


def until(condition, patience_s=10.0):
    deadline = time.monotonic() + patience_s
    while not condition() and time.monotonic() < deadline:
        time.sleep(0.005)
    return condition()


@pytest.fixture
def loudspeaker():
    """Make loudspeakers that are closed at the end; what they tell is kept in `told`."""
    made = []

    def make(player, *arguments, **options):
        told = []
        made.append(
            Loudspeaker(
                functools.partial(player, *arguments),
                on_change=lambda speaking, _: told.append(speaking),
                on_trouble=told.append,
                **options,
            )
        )
        return made[-1], told

    yield make
    for each in made:
        each.close()


@pytest.mark.real_time
def test_the_loudspeaker_says_when_it_speaks_and_when_it_has_ended(loudspeaker):
    speaker, told = loudspeaker(faulty_players.Timed)
    speaker.play(sound(0.5))
    assert speaker.speaking
    begun = time.monotonic()
    assert speaker.wait(5)
    assert time.monotonic() - begun == pytest.approx(0.5, abs=0.15)
    assert told == [True, False]


@pytest.mark.real_time
def test_it_can_be_cut_off_at_once(loudspeaker):
    speaker, told = loudspeaker(faulty_players.Timed)
    speaker.play(sound(30))
    time.sleep(0.1)
    speaker.cut()
    begun = time.monotonic()
    assert speaker.wait(5)
    assert time.monotonic() - begun < 0.1
    assert told == [True, False]


@pytest.mark.real_time
def test_a_new_sound_takes_the_place_of_the_old_without_a_gap_in_speaking(loudspeaker):
    speaker, told = loudspeaker(faulty_players.Timed)
    speaker.play(sound(30))
    speaker.play(sound(0.2))
    assert speaker.wait(2)
    assert told == [True, True, False]


def test_an_output_that_crashes_is_replaced_and_the_recogniser_is_told_that_it_is_silent(loudspeaker):
    speaker, told = loudspeaker(faulty_players.Timed)
    speaker.play(sound(30))
    os.kill(speaker.process_id, signal.SIGSEGV)
    assert speaker.wait(5)
    assert until(lambda: speaker.lost)
    assert until(lambda: not speaker.lost)
    assert told[:2] == [True, False]
    assert "SIGSEGV" in told[2]
    assert told[3] is None
    speaker.play(sound(0.1))
    assert speaker.speaking


def test_an_output_that_hangs_is_replaced(loudspeaker, tmp_path):
    speaker, told = loudspeaker(faulty_players.HangsOnce, tmp_path / "has hung", hung_after_s=0.5)
    speaker.play(sound(0.1))
    assert until(lambda: "hung" in str(told))
    assert until(lambda: not speaker.lost)
    speaker.play(sound(0.1))
    assert speaker.wait(5)


def test_without_an_output_there_is_no_sound_and_no_waiting_and_one_sentence(loudspeaker):
    speaker, told = loudspeaker(faulty_players.Missing)
    assert speaker.lost
    speaker.play(sound(30))
    assert not speaker.speaking
    assert told == ["no sound comes out (no loudspeaker found), so prompts are text until it does"]


def test_an_output_that_stops_taking_sound_is_lost(loudspeaker):
    speaker, told = loudspeaker(faulty_players.Unplugged)
    speaker.play(sound(30))
    assert until(lambda: "takes no sound any more" in str(told))
    assert told[:2] == [True, False]


@pytest.mark.parametrize(
    ("tone", "longest_s", "pitches"), [(tones.attention, 0.3, {660, 990}), (tones.alarm, 1.5, {880, 1320})]
)
def test_the_tones_are_short_not_clipped_and_have_the_pitches_they_should(tone, longest_s, pitches):
    made = tone()
    assert made.duration_s <= longest_s
    assert np.abs(made.samples.astype(int)).max() < 32_000
    spectrum = np.abs(np.fft.rfft(made.samples.astype(float)))
    hertz = np.fft.rfftfreq(len(made.samples), 1 / made.rate)
    for pitch in pitches:
        near = np.abs(hertz - pitch) < 20
        assert spectrum[near].max() > 0.3 * spectrum.max()
