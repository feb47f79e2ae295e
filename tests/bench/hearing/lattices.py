"""What bounds on the search cost and spare: `python -m tests.bench.hearing.lattices --bounds "" "max-mem=300000"`.

Plays rows, numbers and digits of the tuning part at the shipped gates through our own recogniser, with the shipped
settings and once with each set of bounds in place of ours (settings of the decoder, joined by commas). Prints of
each, by noise: how many best guesses are right, how many right ones are listed at all, the processor's time for a
second of sound, and for ending an utterance.
"""

from __future__ import annotations

import argparse
import contextlib
import time
from collections import defaultdict
from unittest.mock import patch

import numpy as np

from handsfree.hearing import grammars
from handsfree.hearing.ending import unfinished_too, whole_sentences
from handsfree.hearing.recogniser import Recogniser
from models.training.split import Part
from tests.bench.hearing import calls
from tests.bench.hearing.material import RATE, ROOT, SPEECH

TASKS = ("rows", "people-rows", "numbers", "digits")
RATIOS = (None, 10.0, 0.0)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bounds", nargs="*", default=[])
    parser.add_argument("--tasks", nargs="*", default=TASKS)
    parser.add_argument("--every", type=int, default=20)
    given = parser.parse_args()
    todo = calls.listed(SPEECH, Part.TUNE, given.tasks)[:: given.every]
    for bounds in ["as shipped", *given.bounds]:
        print(bounds or "without", f"({len(todo)} calls)", flush=True)
        settings = "".join(f"--{one}\n" for one in bounds.split(",") if one)
        shipped = (
            contextlib.nullcontext() if bounds == "as shipped" else patch.object(grammars, "_BOUNDED", settings)
        )
        with shipped:
            for ratio, line in _measured(todo).items():
                print(f"  {'clean' if ratio is None else f'{ratio:g} dB':>6}: {line}", flush=True)


def _measured(todo: list[calls.Call]) -> dict[float | None, str]:
    ears, stage = Recogniser(ROOT / "models" / "english"), calls.Stage(SPEECH, Part.TUNE)
    right: dict[float | None, int] = defaultdict(int)
    listed: dict[float | None, int] = defaultdict(int)
    fed: dict[float | None, list[float]] = defaultdict(list)
    ended: dict[float | None, list[float]] = defaultdict(list)
    for call in sorted(todo, key=lambda call: call.place):  # taking up a grammar costs as much as some calls
        grammar = calls.places()[call.place].grammar.automaton
        for ratio in RATIOS:
            sound = stage(call, ratio)[RATE // 2 : -RATE // 2]
            ears.listen_for(unfinished_too(grammar))
            begin = time.process_time()
            ears.feed(sound.tobytes())
            middle = time.process_time()
            found = whole_sentences(ears.finish(), grammar)
            ended[ratio].append(time.process_time() - middle)
            fed[ratio].append((middle - begin) * RATE / len(sound))
            texts = [one.text for one in found]
            right[ratio] += texts[:1] == [call.words]
            listed[ratio] += call.words in texts
    return {
        ratio: f"{right[ratio]} right and {listed[ratio]} listed of {len(times)};"
        f" feeding {np.mean(fed[ratio]):.3f} s a second; ending"
        f" {1000 * np.median(times):.0f} ms, most {1000 * max(times):.0f}"
        for ratio, times in ended.items()
    }


if __name__ == "__main__":
    main()
