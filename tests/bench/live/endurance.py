"""Hours of sound through the hearing process: `python tests/bench/live/endurance.py [--hours H]`.

One phrase every ten seconds in burner noise, faster than real time, from a source that makes its sound as
it goes. Printed: phrases heard of those said, wrong ones, drift of their times, the speed, and the child's
memory at each tenth of the way.
"""

from __future__ import annotations

import argparse
import functools
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[2] / "hearing"))

from sounds import burner_noise

from handsfree.hearing.listener import Utterance
from handsfree.hearing.sources import BLOCK, BLOCK_MS, Block
from handsfree.hearing.worker import Hearing, HearingPlan, HearingRestarted, SourceEnded, recogniser_of
from handsfree.lexicon.automaton import choice, phrase, phrases, sequence
from handsfree.speaking.voice import Voice

MODEL = Path(__file__).parents[3] / "models" / "english"
PHRASES = ["nine point three", "four point eight", "stop work", "repeat", "seven point two"]
DIGITS = phrases(["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])
GRAMMAR = choice(
    sequence(DIGITS, phrase("point"), DIGITS), phrases(["stop work", "yes", "no", "repeat"])
).automaton()
EVERY_S = 10


@dataclass(frozen=True, eq=False)
class Hours:
    """A source of phrases, one at each tenth second, for so many hours."""

    waves: list[np.ndarray]
    hours: float
    name: str = "hours"
    live: bool = False

    def blocks(self, from_ms=0):
        noise = (burner_noise(61) * 100).astype(np.int16)
        size = EVERY_S * 16000
        for number in range(from_ms // (EVERY_S * 1000), int(self.hours * 3600 / EVERY_S)):
            begin = (number * 7919) % (len(noise) - size)
            part = noise[begin : begin + size].astype(np.int32)
            wave = self.waves[number % len(self.waves)]
            part[48000 : 48000 + len(wave)] += wave
            for at, samples in enumerate(np.clip(part, -32768, 32767).astype(np.int16).reshape(-1, BLOCK)):
                yield Block(samples, number * EVERY_S * 1000 + at * BLOCK_MS, time.monotonic())


def resident_mb(process):
    told = subprocess.run(["ps", "-o", "rss=", "-p", str(process)], capture_output=True, text=True, check=False)
    return int(told.stdout or 0) / 1024


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8)
    options = parser.parse_args()
    voice = Voice()
    waves = [voice.render(text).at_rate(16000).samples.astype(np.int32) // 3 for text in PHRASES]
    voice.close()
    hearing = Hearing(HearingPlan(Hours(waves, options.hours), functools.partial(recogniser_of, MODEL)))
    hearing.listen_for(GRAMMAR)
    begun, heard, said = time.monotonic(), [], int(options.hours * 3600 / EVERY_S)
    memory, restarts = [], 0
    while not isinstance(event := hearing.next_event(120), SourceEnded):
        restarts += isinstance(event, HearingRestarted)
        if isinstance(event, Utterance):
            heard.append(event)
            if len(heard) % max(1, said // 10) == 0:
                memory.append(resident_mb(hearing.process_id))
    hearing.close()
    took = time.monotonic() - begun
    numbers = [event.ended_ms // (EVERY_S * 1000) for event in heard]
    right = sum(
        " ".join(e.alternatives[0].text) == PHRASES[n % len(PHRASES)] for e, n in zip(heard, numbers, strict=True)
    )
    offsets = np.array([event.ended_ms % (EVERY_S * 1000) for event in heard], float)
    kinds = np.array(numbers) % len(PHRASES)
    drift = max(
        np.ptp([offsets[kinds == kind][:20].mean(), offsets[kinds == kind][-20:].mean()]) for kind in set(kinds)
    )
    print(
        f"  {options.hours:g} h: said {said}, heard {len(set(numbers))}, right {right}, "
        f"more than once {len(numbers) - len(set(numbers))}"
    )
    print(f"  restarts {restarts}, drift {drift:.0f} ms, {took / (options.hours * 3600):.4f} of real time")
    print(f"  memory of the process at each tenth, MB: {[round(each) for each in memory]}")


if __name__ == "__main__":
    main()
