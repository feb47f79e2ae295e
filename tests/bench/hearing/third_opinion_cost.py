"""What the third opinion costs: `python -m tests.bench.hearing.third_opinion_cost [--every 10] [--threads 2]`.

Plays calls of the tuning part through the listener, their ends at the pace of a clock, so that what is done in the
silence after them counts as it does on a visit. Prints for each task how long an utterance waited for the third
opinion from the moment when our own ears had their final word, how long it took from the end of the voice, the
processor's time for the call with and without it, and the memory. Wall time needs two quiet cores.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundBlock
from handsfree.procedure.languages import english
from models.training.split import Part
from tests.bench.hearing import calls, playing
from tests.bench.hearing.footprint import resident
from tests.bench.hearing.material import RATE, ROOT, SPEECH

TASKS = ("rows", "people-rows", "phrases", "digits")
PACED_S = 0.6
"""So much of the speech, and all after it, is played at the pace of a clock."""
RATIOS = (None, 15.0, 10.0, 0.0)


class Timed(Recogniser):
    """Notes how long each utterance waits for the third opinion, and how often that came too late."""

    def __init__(self, *given: object, **named: object) -> None:
        super().__init__(*given, **named)
        self.waited: list[float] = []
        self.late = 0

    def weigh(self, *given: object, **named: object) -> object:
        """Weigh, and note the time."""
        began = time.perf_counter()
        weighed = super().weigh(*given, **named)
        self.waited.append(time.perf_counter() - began)
        self.late += weighed[1] is not None and weighed[1].late
        return weighed


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tasks", nargs="*", default=TASKS)
    parser.add_argument("--every", type=int, default=10)
    parser.add_argument("--threads", type=int, default=0, help="in place of what a visit takes")
    given = parser.parse_args()
    plan = GeneralPlan.of(english())
    if plan is None:
        print("the weights of the general recogniser are not installed")
        return
    alone = Timed(ROOT / "models" / "english")
    before = resident()
    member = GeneralMember(replace(plan, threads=given.threads or plan.threads))
    member.wait()
    print(f"loaded: {resident() - before:.0f} MB more")
    with_it = Timed(ROOT / "models" / "english", general=member)
    stage = playing.Stage(SPEECH, Part.TUNE)
    for task in given.tasks:
        for ratio in RATIOS:
            todo = [call for call in calls.listed(SPEECH, Part.TUNE, [task]) if ratio in call.ratios]
            if todo:
                _tell(
                    f"{task}, {'clean' if ratio is None else f'{ratio:g} dB'}",
                    alone,
                    with_it,
                    stage,
                    todo[:: given.every],
                    ratio,
                )
    print(f"all loaded: {resident():.0f} MB")


def _tell(
    name: str, alone: Timed, with_it: Timed, stage: playing.Stage, todo: list[calls.Call], ratio: float | None
) -> None:
    lengths, whole, cost = [], [], {alone: 0.0, with_it: 0.0}
    with_it.waited.clear()
    with_it.late = 0
    for call in todo:
        sound = stage(call, ratio)
        for ears in (alone, with_it):
            began = time.process_time()
            said = list(_played(ears, call, sound))
            cost[ears] += time.process_time() - began
        lengths += [len(one.samples) / RATE for one in said]
        whole += [one.latency_ms for one in said]
    if not with_it.waited:
        return
    middle, most = (1000 * float(np.percentile(with_it.waited, share)) for share in (50, 95))
    after, latest = (float(np.percentile(whole, share)) for share in (50, 95))
    cpu = [1000 * cost[ears] / len(todo) for ears in (alone, with_it)]
    print(
        f"{name}: {len(with_it.waited)} of {np.mean(lengths):.1f} s: waited {middle:.0f} ms, of 19 in 20 at most"
        f" {most:.0f}; {after:.0f} and {latest:.0f} after the voice; CPU {cpu[0]:.0f} -> {cpu[1]:.0f} ms a call;"
        f" {with_it.late} too late",
        flush=True,
    )


def _played(ears: Timed, call: calls.Call, sound: Samples) -> Iterator[Utterance]:
    listener = Listener(ears)
    listener.listen_for(calls.places()[call.place].grammar.automaton)
    paced_from = len(sound) - round((calls.AFTER_S + PACED_S) * RATE)
    due = time.monotonic()
    for begin in range(0, len(sound) - BLOCK + 1, BLOCK):
        if begin >= paced_from:
            due = max(due + BLOCK_MS / 1000, time.monotonic() - 0.5)
            time.sleep(max(0.0, due - time.monotonic()))
        else:
            due = time.monotonic()
        block = SoundBlock(sound[begin : begin + BLOCK], begin * 1000 // RATE, due)
        for told in listener.hear(block):
            if isinstance(told, Utterance):
                yield told
                return


if __name__ == "__main__":
    main()
