"""The listener with the real recogniser, the shipped model and the tool's own voice as the technician."""

import functools
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from sounds import burner_noise, mixed, spoken

from handsfree.hearing import ending
from handsfree.hearing.listener import Listener, Utterance, whole_utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.lexicon.automaton import choice, optional, phrase, phrases, sequence

MODEL = Path(__file__).parents[2] / "models" / "english"
DIGITS = phrases(["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])
GRAMMAR = choice(
    sequence(DIGITS, phrase("point"), DIGITS),
    sequence(phrase("one hundred"), optional(sequence(phrase("and"), phrases(["twelve", "twenty", "five"])))),
    phrases(["stop work", "gas smell", "yes", "no", "repeat"]),
).automaton()
STOP = phrases(["stop work", "gas smell"]).automaton()
SPOKEN = pytest.mark.slow("seconds of rendered speech")


@functools.cache
def recogniser():
    return Recogniser(MODEL)


@pytest.fixture(scope="module", autouse=True)
def _given_back():
    """The native model must go before the interpreter does."""
    yield
    recogniser.cache_clear()


def heard(samples):
    listener = Listener(recogniser(), STOP)
    listener.listen_for(GRAMMAR)
    return [event for event in listener.utterances(Recording(samples)) if isinstance(event, Utterance)]


def texts(utterances):
    return [" ".join(utterance.alternatives[0].text) for utterance in utterances]


def silence_waited(utterance):
    return utterance.started_ms + len(utterance.samples) // 16 - utterance.ended_ms


@pytest.mark.parametrize("ratio_db", [30, 15, 10])
def test_readings_and_commands_are_heard_one_by_one_beside_a_burner(ratio_db):
    said = ("nine point three", 2.0, "four point eight", 2.0, "repeat", 2.0, "yes", 2.0)
    assert texts(heard(mixed(spoken(2.5, *said), ratio_db))) == list(said[::2])


@pytest.mark.parametrize("pause_s", [pytest.param(0.4, marks=SPOKEN), 0.7, pytest.param(1.0, marks=SPOKEN)])
def test_a_pause_after_point_neither_cuts_the_reading_off_nor_invents_a_digit(pause_s):
    samples = mixed(spoken(2.5, "nine point", pause_s, "three", 2.5), 25)
    assert texts(heard(samples)) == ["nine point three"]


def test_a_pause_inside_one_hundred_and_twelve_does_not_cut_it_off():
    samples = mixed(spoken(2.5, "one hundred", 0.3, "and", 0.5, "twelve", 2.5), 25)
    assert texts(heard(samples)) == ["one hundred and twelve"]


@SPOKEN
def test_a_reading_left_unfinished_is_unknown_and_never_a_number():
    """Forced to a whole sentence, the recogniser says "nine point eight" here."""
    samples = mixed(spoken(2.5, "nine point", 3.0), 25)
    forced = recogniser().recognise(samples.tobytes(), GRAMMAR)
    assert len(forced[0].text) == 3, "the trap that this test is about"
    (utterance,) = heard(samples)
    assert texts([utterance]) == ["[unk]"]
    assert utterance.fragment == ("nine", "point")


def test_the_wait_for_silence_follows_from_the_grammar():
    complete, could_go_on = heard(mixed(spoken(2.5, "nine point three", 2.0, "one hundred", 2.0), 30))
    assert silence_waited(complete) == ending.COMPLETE_MS
    assert silence_waited(could_go_on) == ending.OPEN_MS


def test_levels_tell_the_noise_and_the_speech_apart():
    """The mixture's own ratio, as made, within 4 dB (the voice is not steady)."""
    (utterance,) = heard(mixed(spoken(4.0, "nine point three", 2.0), 20))
    assert utterance.speech_db - utterance.noise_db == pytest.approx(20 - 3, abs=4)
    assert float(utterance.above_noise_db) == pytest.approx(20 - 3, abs=4.5)
    assert not utterance.clipped


def test_a_recording_heard_as_a_whole_tells_nothing_of_the_noise():
    samples = mixed(spoken(0.5, "nine point three", 0.5), 20)
    assert whole_utterance(recogniser(), GRAMMAR, samples).above_noise_db is None


def test_too_loud_speech_is_marked_as_clipped():
    samples = np.clip(spoken(2.5, "nine point three", 2.0) * 16, -32768, 32767).astype(np.int16)
    (utterance,) = heard(samples)
    assert utterance.clipped


def test_words_bear_the_time_at_which_they_were_said():
    """For "mark" the onset counts: within 150 ms of where the sound begins."""
    speech = spoken(3.0, "repeat", 2.0)
    onset_ms = np.flatnonzero(np.abs(speech) > 200)[0] / 16
    (utterance,) = heard(mixed(speech, 25))
    assert utterance.started_ms + utterance.alternatives[0].words[0].start_ms == pytest.approx(onset_ms, abs=150)


def test_steady_noise_for_half_a_minute_is_nothing_said():
    noise = (burner_noise(30) * 800).astype(np.int16)
    assert heard(noise) == []


def test_a_clip_without_silence_around_it_is_heard_whole():
    speech = spoken("nine point three")
    assert texts([whole_utterance(recogniser(), GRAMMAR, speech.astype(np.int16))]) == ["nine point three"]


@pytest.mark.slow("a minute of sound is cleaned and heard")
def test_stop_words_are_heard_over_the_tools_quieter_voice_and_its_own_prompts_stop_nothing():
    prompts = spoken("Readings.", 0.2, "Nine three. Four four. One eight.", 0.2, "Clockwise, one eighth.", 0.2)
    stop = spoken("stop work")
    over = np.concatenate([prompts, prompts]) * 0.2
    at = len(prompts) + 8000
    over[at : at + len(stop)] += stop
    listener = Listener(recogniser(), STOP)
    listener.listen_for(GRAMMAR)
    listener.tool_speaks(True)
    told = [
        (block.start_ms - (at + len(stop)) / 16, event)
        for block in Recording(mixed(over, 25)).blocks()
        for event in listener.hear(block)
    ]
    assert texts([event for _, event in told]) == ["stop work"]
    assert told[0][0] < 600
