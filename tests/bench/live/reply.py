"""From the end of speech to the first sample of the reply: `python tests/bench/live/reply.py [--rounds N]`.

A virtual sound card (PulseAudio) joins three processes: a loudspeaker that plays the technician's phrases,
the hearing process, and the tool's loudspeaker that answers each utterance with a tone. A fourth listens
to the card and measures, in what sounded there, the time from the end of the phrase to the beginning of
the tone; and from a cut to silence.
"""

from __future__ import annotations

import argparse
import functools
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parents[2] / "speaking"))

from conftest import Card

from handsfree.hearing.listener import Utterance
from handsfree.hearing.microphone import Microphone, MicrophoneLost
from handsfree.hearing.worker import Hearing, HearingPlan, recogniser_of
from handsfree.lexicon.automaton import choice, phrase, phrases, sequence
from handsfree.speaking.player import SoundCardPlayer
from handsfree.speaking.sound import Sound
from handsfree.speaking.voice import Voice
from handsfree.speaking.worker import Loudspeaker

MODEL = Path(__file__).parents[3] / "models" / "english"
DIGITS = phrases(["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])
GRAMMAR = choice(
    sequence(DIGITS, phrase("point"), DIGITS),
    phrases(["stop work", "yes", "no", "repeat", "hold on", "one hundred"]),
).automaton()
PHRASES = ["nine point three", "four point eight", "stop work", "yes", "repeat", "seven point two"]
TONE_HZ = 5000


class Recorder(threading.Thread):
    def __init__(self):
        super().__init__(daemon=True)
        self.blocks = []
        self.start()

    def run(self):
        try:
            for block in Microphone().blocks():
                self.blocks.append(block)
        except MicrophoneLost:
            pass

    def since(self, number):
        return np.concatenate([block.samples for block in self.blocks[number:]]).astype(float)


def tone(seconds):
    return Sound(
        (16000 * np.sin(2 * np.pi * TONE_HZ * np.arange(round(16000 * seconds)) / 16000)).astype(np.int16), 16000
    )


def reply_gap_ms(heard):
    """The tone is told from the speech by its share above 4.5 kHz, in steps of 2 ms."""
    steps = heard[: len(heard) // 32 * 32].reshape(-1, 32)
    loud = np.abs(steps).max(axis=1)
    high = np.abs(np.fft.rfft(steps))
    is_tone = (loud > 8000) & (high[:, 10] > 0.8 * high.max(axis=1))
    # A hiss of speech has the same pitch but no such length: 100 ms without a gap.
    lasting = np.convolve(is_tone, np.ones(50, int), "valid") == 50
    first_tone = np.flatnonzero(lasting)[0]
    last_speech = np.flatnonzero(loud[: first_tone - 10] > 200)[-1]  # not the tone's own rise
    return (first_tone - last_speech - 1) * 2.0


def processor_share(process, seconds):
    def busy():
        fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    before = busy()
    time.sleep(seconds)
    return (busy() - before) / seconds


def resident_mb(process):
    return (
        int(
            subprocess.run(
                ["ps", "-o", "rss=", "-p", str(process)], capture_output=True, text=True, check=True
            ).stdout
        )
        / 1024
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=4)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as home, pytest.MonkeyPatch.context() as patch:
        card = Card(Path(home), patch)
        card.start()
        try:
            measure(options.rounds)
        finally:
            card.stop()


def measure(rounds):
    voice = Voice()
    person, tool = Loudspeaker(SoundCardPlayer), Loudspeaker(SoundCardPlayer)
    hearing = Hearing(HearingPlan(Microphone(), functools.partial(recogniser_of, MODEL)))
    hearing.listen_for(GRAMMAR)
    recorder, answer, gaps, right = Recorder(), tone(0.3), [], 0
    tool.play(tone(0.1))
    time.sleep(4)
    while hearing.next_event(0.2) is not None:
        pass
    for text in PHRASES * rounds:
        begun = len(recorder.blocks)
        person.play(voice.render(text))
        event = None
        while not isinstance(event, Utterance):
            event = hearing.next_event(5)
            if event is None:
                print(f"  {text}: nothing heard")
                break
        else:
            hearing.tool_speaks(True)
            tool.play(answer)
            right += " ".join(event.alternatives[0].text) == text
            tool.wait(2)
            hearing.tool_speaks(False)
            time.sleep(0.5)
            gaps.append(reply_gap_ms(recorder.since(begun)))
        time.sleep(0.3)
    p5, p50, p95 = np.percentile(gaps, [5, 50, 95])
    print(f"  end of speech to first sample of the reply, {len(gaps)} phrases, {right} heard right:")
    print(f"    5/50/95 % {p5:.0f}/{p50:.0f}/{p95:.0f} ms, longest {max(gaps):.0f}")
    cuts = []
    for _ in range(10):
        tool.play(tone(5))
        time.sleep(0.5)
        cut = time.monotonic()
        tool.cut()
        tool.wait(2)
        time.sleep(0.4)
        loud = [b.arrived for b in recorder.blocks if np.abs(b.samples.astype(int)).max() > 1000]
        cuts.append((loud[-1] - cut) * 1000)
    print(f"    cut to silence 50/100 % {np.median(cuts):.0f}/{max(cuts):.0f} ms")
    print(
        f"    hearing while quiet: {processor_share(hearing.process_id, 5):.1%} of one core, "
        f"{resident_mb(hearing.process_id):.0f} MB"
    )
    print(f"    loudspeaker while quiet: {processor_share(tool._child.process_id, 5):.1%} of one core")
    print(
        f"    blocks with lost sound: {sum(block.overflow for block in recorder.blocks)} of {len(recorder.blocks)}"
    )
    for each in (person, tool, hearing, voice):
        each.close()


if __name__ == "__main__":
    main()
