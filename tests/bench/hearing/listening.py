"""What listening costs beyond decoding once: `python -m tests.bench.hearing.listening [--every 30]`.

Plays calls of the tuning part through the listener, our own recogniser alone. Prints of each task and noise how
many are right, how often the sound of an utterance was decoded (1 is once; noise that was no utterance counts
too), the silence that was waited for, and the processor's time for a second of sound.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter

import numpy as np

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from models.training.split import Part
from tests.bench.hearing import calls, playing
from tests.bench.hearing.lattices import RATIOS, TASKS
from tests.bench.hearing.material import RATE, ROOT, SPEECH


class Counted(Recogniser):
    """Counts the samples that it is fed."""

    fed = 0

    def feed(self, pcm: bytes) -> None:
        """Take sound."""
        self.fed += len(pcm) // 2
        super().feed(pcm)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tasks", nargs="*", default=TASKS)
    parser.add_argument("--every", type=int, default=30)
    given = parser.parse_args()
    ears, stage = Counted(ROOT / "models" / "english"), playing.Stage(SPEECH, Part.TUNE)
    for task in given.tasks:
        todo = calls.listed(SPEECH, Part.TUNE, [task])[:: given.every]
        for ratio in RATIOS:
            _tell(f"{task}, {'clean' if ratio is None else f'{ratio:g} dB'}", ears, stage, todo, ratio)


def _tell(name: str, ears: Counted, stage: playing.Stage, todo: list[calls.Call], ratio: float | None) -> None:
    count: Counter[str] = Counter()
    waited: list[int] = []
    cost = sound = 0.0
    ears.fed = 0
    for call in todo:
        listener, samples = Listener(ears), stage(call, ratio)
        listener.listen_for(calls.places()[call.place].grammar.automaton)
        begin = time.process_time()
        said = [one for one in listener.utterances(Recording(samples)) if isinstance(one, Utterance)]
        cost, sound = cost + time.process_time() - begin, sound + len(samples) / RATE
        count["right"] += [one.alternatives[0].text for one in said] == [call.words]
        count["samples"] += sum(len(one.samples) for one in said)
        waited += [one.started_ms + len(one.samples) * 1000 // RATE - one.ended_ms for one in said]
    print(
        f"{name}: {count['right']} of {len(todo)} right; decoded {ears.fed / max(1, count['samples']):.2f} times;"
        f" silence {np.median(waited):.0f} ms; {cost / sound:.3f} s a second",
        flush=True,
    )


if __name__ == "__main__":
    main()
