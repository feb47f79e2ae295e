"""Real audio streams: what the player plays into a virtual sound card comes out of its microphone."""

import functools
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "hearing"))

from scripted_recogniser import ScriptedRecogniser, said

from handsfree import sound_card
from handsfree.hearing.listener import SpeechBegan, Utterance
from handsfree.hearing.microphone import Microphone, MicrophoneLost
from handsfree.hearing.resampling import RATE
from handsfree.hearing.worker import Hearing, HearingPlan, MicrophoneBack, MicrophoneGone
from handsfree.lexicon.automaton import phrases
from handsfree.problem import Problem
from handsfree.speaking.player import SoundCardPlayer
from handsfree.speaking.sound import Sound
from handsfree.speaking.voice import Voice
from handsfree.speaking.worker import Loudspeaker

pytestmark = pytest.mark.real_time
"""Where others take the processor for a moment, the card loses sound, not the program."""


def tone(seconds, hertz=440):
    return Sound(
        (20000 * np.sin(2 * np.pi * hertz * np.arange(round(RATE * seconds)) / RATE)).astype(np.int16), RATE
    )


class Recorder(threading.Thread):
    """Keeps what the microphone hears, and how it ended."""

    def __init__(self, device=None):
        super().__init__(daemon=True)
        self.device, self.blocks, self.ended = device, [], None
        self.start()

    def run(self):
        try:
            for block in Microphone(self.device).blocks():
                self.blocks.append(block)
        except (MicrophoneLost, Problem) as end:
            self.ended = end

    def loud_since(self, moment):
        """Times of arrival of the blocks with sound in them."""
        return [
            b.arrived for b in self.blocks if b.arrived > moment and np.abs(b.samples.astype(int)).max() > 1000
        ]


@pytest.fixture(scope="module")
def running(card):
    recorder = Recorder()
    deadline = time.monotonic() + 8
    while not recorder.blocks and time.monotonic() < deadline:
        time.sleep(0.02)
    with sound_card.quiet():
        player = SoundCardPlayer()
        player.play(tone(0.1))  # wakes the output up
        player.wait(3)
        time.sleep(0.3)
        yield player, recorder, card
        player.close()


def test_the_virtual_card_is_found_by_name(card):
    assert sound_card.device("pulse", "input").name == "pulse"
    assert sound_card.device(None, "output").rate > 0
    with pytest.raises(Problem, match="no device is called"):
        sound_card.device("nothing of the kind", "input")


def test_a_tone_played_is_the_tone_heard(running):
    """Checked by its spectrum and its length."""
    player, recorder, _ = running
    begun = time.monotonic()
    player.play(tone(1.0))
    assert player.speaking
    assert player.wait(3)
    time.sleep(0.3)
    heard = np.concatenate([b.samples for b in recorder.blocks if b.arrived > begun]).astype(float)
    loud = np.flatnonzero(np.abs(heard) > 1000)
    assert (loud[-1] - loud[0]) / RATE == pytest.approx(1.0, abs=0.03)
    middle = heard[loud[0] + 1600 : loud[0] + 1600 + RATE // 2]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    assert np.argmax(spectrum) * 2 == pytest.approx(440, abs=2)
    assert not any(block.overflow for block in recorder.blocks)


def test_the_end_that_the_player_tells_is_the_end_that_is_heard(running):
    player, recorder, _ = running
    begun = time.monotonic()
    player.play(tone(0.5))
    player.wait(3)
    told = time.monotonic()
    time.sleep(0.4)
    assert told - recorder.loud_since(begun)[-1] == pytest.approx(0.0, abs=0.15)


def test_a_prompt_that_is_cut_off_falls_silent_within_200_ms(running):
    player, recorder, _ = running
    begun = time.monotonic()
    player.play(tone(5.0))
    time.sleep(0.5)
    cut = time.monotonic()
    player.cut()
    assert player.wait(1)
    time.sleep(0.4)
    assert 0 <= recorder.loud_since(begun)[-1] - cut <= 0.2


def test_a_rendered_prompt_arrives_as_it_was_rendered(running):
    """The heard sound follows the rendered one: correlation at the best delay above 0.9."""
    player, recorder, _ = running
    voice = Voice()
    prompt = voice.render("Nine three. Four four. One eight.")
    voice.close()
    if prompt is None:
        pytest.skip(voice.notice)
    begun = time.monotonic()
    player.play(prompt)
    player.wait(8)
    time.sleep(0.4)
    heard = np.concatenate([b.samples for b in recorder.blocks if b.arrived > begun]).astype(float)
    sent = prompt.at_rate(RATE).samples.astype(float)
    size = 2 ** int(np.ceil(np.log2(len(heard) + len(sent))))
    agreement = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(sent, size)), size)
    assert agreement.max() / (np.linalg.norm(heard) * np.linalg.norm(sent)) > 0.9


def test_a_pulled_plug_is_noticed_by_both_within_two_seconds(running):
    """Killing the server is pulling the plug: no exception comes from the library, the blocks just stop."""
    player, recorder, card = running
    card.stop()
    pulled = time.monotonic()
    recorder.join(4)
    assert isinstance(recorder.ended, MicrophoneLost)
    while not player.lost and time.monotonic() < pulled + 4:
        time.sleep(0.01)
    assert player.lost
    assert not player.speaking
    assert time.monotonic() - pulled < 2


SCRIPT = ("yes", "no", "stop")


def found(speaker):
    """Wait until the loudspeaker has found its output: a server that has just started may not be ready."""
    deadline = time.monotonic() + 15
    while speaker.lost and time.monotonic() < deadline:
        time.sleep(0.05)
    return not speaker.lost


def opened(hearing):
    """Wait until the microphone is open and the first noise is learned."""
    deadline = time.monotonic() + 20
    while not hearing.listening and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(1.5)


@pytest.mark.slow("a sound card in real time")
def test_a_person_who_talks_over_a_headset_silences_the_tool_and_is_heard(card):
    """The tool plays into the headset, which the microphone does not hear; the recorder listens there.

    From the event to silence at most 0.2 s; what was said over the voice is an answer, since it ended after it.
    """
    if card.process.poll() is not None:
        card.start()
    recogniser = functools.partial(ScriptedRecogniser, SCRIPT)
    hearing = Hearing(HearingPlan(Microphone("microphone"), recogniser, talk_over=True))
    hearing.listen_for(phrases(["yes", "no"]).automaton())
    person = Loudspeaker(functools.partial(SoundCardPlayer, "room"))
    tool = Loudspeaker(functools.partial(SoundCardPlayer, "headset"), on_change=hearing.tool_speaks)
    recorder = Recorder("in_it")
    try:
        opened(hearing)
        assert found(person)
        assert found(tool)
        begun = time.monotonic()
        tool.play(tone(8.0))
        time.sleep(1.0)
        person.play(Sound(said(SCRIPT, 0.2, "yes", 0.3), RATE))
        event, deadline = None, time.monotonic() + 8
        while not isinstance(event, SpeechBegan) and time.monotonic() < deadline:
            event = hearing.next_event(0.1)
        cut = time.monotonic()
        tool.cut()
        assert isinstance(event, SpeechBegan)
        assert event.during_speech
        assert tool.wait(2)
        (heard,) = events(hearing, Utterance, 8)
        time.sleep(0.3)
        assert 0 <= recorder.loud_since(begun)[-1] - cut <= 0.2
        assert heard.alternatives[0].text == ("yes",)
        assert not heard.during_speech
    finally:
        for each in (tool, person, hearing):
            each.close()


def events(hearing, kind, patience_s):
    """The next events up to the first of that kind; the beginnings of speech are left out."""
    found, deadline = [], time.monotonic() + patience_s
    while time.monotonic() < deadline and not isinstance(found[-1] if found else None, kind):
        event = hearing.next_event(0.1)
        found += [] if event is None or isinstance(event, SpeechBegan) else [event]
    return found


@pytest.mark.slow("a sound card in real time")
def test_processes_at_both_ends_a_pulled_plug_and_the_tools_own_voice(card):
    """Loudspeaker and hearing, each in its process, joined by the card.

    What is played is heard; after the plug was pulled and put back it is heard again; and what the tool
    itself says is not obeyed while hearing knows that the tool speaks.
    """
    if card.process.poll() is not None:
        card.start()
    word = Sound(said(SCRIPT, 0.2, "yes", 0.3), RATE)
    hearing = Hearing(HearingPlan(Microphone(), functools.partial(ScriptedRecogniser, SCRIPT)))
    hearing.listen_for(phrases(["yes", "no"]).automaton())
    speaker = Loudspeaker(SoundCardPlayer)
    try:
        opened(hearing)
        speaker.play(word)
        heard = events(hearing, Utterance, 8)
        assert [type(event) for event in heard] == [Utterance]
        assert heard[0].alternatives[0].text == ("yes",)

        card.stop()
        assert [type(event) for event in events(hearing, MicrophoneGone, 6)] == [MicrophoneGone]
        card.start()
        assert [type(event) for event in events(hearing, MicrophoneBack, 15)] == [MicrophoneBack]
        assert found(speaker)
        speaker.play(word)
        assert speaker.wait(5)
        again = events(hearing, Utterance, 8)
        assert [event.alternatives[0].text for event in again] == [("yes",)]
        assert again[0].started_ms > heard[0].started_ms + 2000
    finally:
        speaker.close()

    speaker = Loudspeaker(SoundCardPlayer, on_change=hearing.tool_speaks)
    try:
        speaker.play(word)
        assert speaker.wait(5)
        assert events(hearing, Utterance, 1.5) == []
    finally:
        speaker.close()
        hearing.close()
    assert hearing.restarts == 0
