"""What bounds on the search cost and spare: `python -m tests.bench.hearing.lattices --bounds "max-mem=1000000"`.

Plays calls of the tuning part at the shipped gates through the listener of a visit, by our own ears alone, with
the shipped settings and once with each set of bounds (settings of the decoder, joined by commas; they stand behind
the shipped ones and win). Prints of each, by noise: what a visit does with the calls, in how many of them that
differs from the shipped settings, how many right sentences are listed at all, how long the ends took (each trial
counts; both networks together, in the processor's time), and how many lattices were larger than `max-mem` allows,
so that they were pruned narrower. `--to FILE` adds what was counted to what is there: play pieces by `--skip`.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import asdict, dataclass
from itertools import product
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from handsfree.hearing import grammars
from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.visit.hearing import heard_from
from models.training.split import Part
from tests.bench.hearing import calls, playing
from tests.bench.hearing.deciding import ASKED, MISSED, RIGHT, STOPPED, WRONG, outcome
from tests.bench.hearing.material import ROOT, SPEECH

TASKS = ("rows", "people-rows", "numbers", "digits")
SOON_MS = 100
RATIOS = (None, 20.0, 10.0, 5.0, 0.0, -5.0)
_TOO_LARGE = re.compile(r"size exceeds maximum")
"""What the library writes when it prunes a lattice narrower."""

AS_SHIPPED = ""


@dataclass
class Played:
    """A call at one level of noise under one set of bounds."""

    bounds: str
    name: str
    ratio: float | None
    does: str
    listed: bool
    ended_ms: list[float]
    pruned: int


class Timed(Recogniser):
    """Notes how long each end took, and how many lattices were pruned narrower."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self.ended_ms: list[float] = []
        self.pruned = 0

    def finish(self) -> tuple[Hypothesis, ...]:
        """End the utterance, and note the time."""
        with _written() as written:
            began = time.process_time()
            found = super().finish()
            self.ended_ms.append(1000 * (time.process_time() - began))
        self.pruned += len(_TOO_LARGE.findall(written[0]))
        return found


@contextmanager
def _written() -> Iterator[list[str]]:
    """Give what the library writes to the standard error meanwhile: there it tells of large lattices."""
    written = [""]
    kept = os.dup(2)
    with tempfile.TemporaryFile() as file:
        os.dup2(file.fileno(), 2)
        try:
            yield written
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            file.seek(0)
            written[0] = file.read().decode(errors="replace")


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bounds", nargs="*", default=[])
    parser.add_argument("--tasks", nargs="*", default=TASKS)
    parser.add_argument("--every", type=int, default=20)
    parser.add_argument("--skip", type=int, default=0, help="begin with a later call")
    parser.add_argument("--to", type=Path)
    given = parser.parse_args()
    todo = calls.listed(SPEECH, Part.TUNE, given.tasks)[given.skip :: given.every]
    bounds = dict.fromkeys([AS_SHIPPED, *given.bounds])
    ears = {each: Timed(ROOT / "models" / "english") for each in bounds}
    stage, played = playing.Stage(SPEECH, Part.TUNE), []
    with nullcontext() if given.to is None else given.to.open("a", encoding="utf-8") as file:
        for call in sorted(todo, key=lambda call: call.place):  # a grammar costs as much as some calls
            for each, ratio in product(bounds, RATIOS):
                more = "".join(f"--{one}\n" for one in each.split(",") if one)
                with patch.object(grammars, "_FEW_PATHS", grammars._FEW_PATHS + more):
                    played.append(_played(ears[each], each, call, ratio, stage(call, ratio)))
                if file is not None:
                    file.write(json.dumps(asdict(played[-1])) + "\n")
                    file.flush()
    if given.to is not None:
        played = [Played(**json.loads(line)) for line in given.to.read_text(encoding="utf-8").splitlines()]
    tell(played)


def _played(ears: Timed, bounds: str, call: calls.Call, ratio: float | None, sound: np.ndarray) -> Played:
    ears.ended_ms, ears.pruned = [], 0
    grammar = calls.places()[call.place].grammar.automaton
    listener = Listener(ears)
    listener.listen_for(grammar)
    said = [one for one in listener.utterances(Recording(sound)) if isinstance(one, Utterance)]
    heard = [heard_from(one, 0, 0, grammar.identity, None).model_dump(mode="json") for one in said]
    does = outcome({"place": call.place, "words": list(call.words), "heard": heard}, "ours")
    listed = any(one.text == call.words for each in said for one in each.alternatives)
    return Played(bounds, call.name, ratio, does, listed, ears.ended_ms, ears.pruned)


def tell(played: Sequence[Played]) -> None:
    """Print the counts of each set of bounds by noise."""
    shipped = {(one.name, one.ratio): one.does for one in played if one.bounds == AS_SHIPPED}
    for bounds in dict.fromkeys(one.bounds for one in played):
        print(bounds or "as shipped")
        for ratio in RATIOS:
            here = [one for one in played if (one.bounds, one.ratio) == (bounds, ratio)]
            ended = [took for one in here for took in one.ended_ms]
            done = Counter(one.does for one in here)
            differ = sum(shipped.get((one.name, one.ratio), one.does) != one.does for one in here)
            shares = "/".join(f"{np.percentile(ended or [0.0], share):.0f}" for share in (50, 90, 99, 100))
            print(
                f"  {'clean' if ratio is None else f'{ratio:g} dB':>6}: right/asked/wrong/missed/stopped"
                f" {'/'.join(str(done[kind]) for kind in (RIGHT, ASKED, WRONG, MISSED, STOPPED))}"
                f" of {len(here)}, {differ} otherwise, {sum(one.listed for one in here)} listed;"
                f" ends (50/90/99/100 %) {shares} ms, {sum(took > SOON_MS for took in ended)} of {len(ended)} over"
                f" {SOON_MS}; {sum(one.pruned for one in here)} lattices pruned narrower"
            )


if __name__ == "__main__":
    main()
