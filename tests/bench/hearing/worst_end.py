"""The longest that hearing says nothing: `python -m tests.bench.hearing.worst_end [--loops 4] [--minutes 3]`.

Talk of the tuning part, without a pause and as loud as the noise over it, goes through the listener of a visit at
four questions in turn: utterances of up to 8 s, or 15 where it sounds like an answer, with the largest lattices
there are. Prints of the blocks of sound that took longest how long the processor worked on them and how long they
took, with so many busy loops beside it.
Between two blocks the child that hears says that it lives (`handsfree/hearing/worker.py`).
"""

from __future__ import annotations

import argparse
import multiprocessing
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import BLOCK_MS, Recording
from models.training import people, recordings
from models.training.split import Part
from tests.bench.hearing.calls import TALK_AT, places
from tests.bench.hearing.material import RATE, ROOT, SPEECH

NOTED_S = 0.25
STRETCH_S = 40


def main() -> None:
    """Listen and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speech", type=Path, default=SPEECH)
    parser.add_argument("--loops", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=3.0)
    given = parser.parse_args()
    loops = [multiprocessing.Process(target=_loop, daemon=True) for _ in range(given.loops)]
    for loop in loops:
        loop.start()
    recogniser = Recogniser(ROOT / "models" / "english")
    begun, heard, all_worked, noted = time.monotonic(), 0.0, 0.0, []
    for number, samples in enumerate(_stretches(given.speech)):
        if time.monotonic() - begun > 60 * given.minutes:
            break
        listener = Listener(recogniser)
        listener.listen_for(places()[TALK_AT[number % len(TALK_AT)]].grammar.automaton)
        for block in Recording(samples).blocks():
            if time.monotonic() - begun > 60 * given.minutes:
                break
            heard += BLOCK_MS / 1000
            worked, took = time.process_time(), time.monotonic()
            told = list(listener.hear(block))
            worked, took = time.process_time() - worked, time.monotonic() - took
            all_worked += worked
            if took > NOTED_S:
                length = max((len(one.samples) / RATE for one in told if isinstance(one, Utterance)), default=0.0)
                noted.append((worked, took, length))
    for loop in loops:
        loop.kill()
    print(
        f"{heard:.0f} s of sound, {all_worked / heard:.2f} s of the processor for each, {given.loops} busy loops;"
        f" {len(noted)} blocks took over {NOTED_S} s"
    )
    for name, place in (("worked on", 0), ("took", 1)):
        print(f"the blocks that were longest {name}, in s:")
        for worked, took, length in sorted(noted, key=lambda one: one[place], reverse=True)[:5]:
            print(f"  worked {worked:.2f}, took {took:.2f}, ended {length:.1f} s of speech")


def _stretches(speech: Path) -> Iterator[np.ndarray]:
    """Yield talk without pauses, with noise as loud over it."""
    clips = people.clips(speech, "librispeech-test-clean", Part.TUNE)
    noises = [one.samples for one in recordings.noises(speech, Part.TUNE) if len(one.samples) > RATE]
    row, length = [np.zeros(RATE)], 0
    for number, clip in enumerate(clips):
        row.append(clip.samples())
        length += len(row[-1])
        if length > STRETCH_S * RATE:
            talk = np.concatenate(row)
            noise = np.resize(noises[number % len(noises)], len(talk))
            noise = noise * np.sqrt(np.mean(talk**2) / (np.mean(noise**2) + 1e-12))
            mixed = np.concatenate([noise[: 2 * RATE], talk + noise])
            yield (mixed / np.abs(mixed).max() * 30_000).astype(np.int16)
            row, length = [np.zeros(RATE)], 0


def _loop() -> None:
    while True:
        pass


if __name__ == "__main__":
    main()
