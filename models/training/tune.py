"""Fit how scores become odds, on the speakers kept for tuning: `python -m models.training.tune MODEL`.

Plays the bench's `tune` part to a model whose judgement is switched off, and finds the scale of scores and the
logistic function that make "the best alternative is right" likeliest. Prints the settings.
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from handsfree.hearing.ending import unfinished_too
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.model_folder import SUMS
from handsfree.hearing.recogniser import Recogniser
from handsfree.lexicon.pronunciation import Pronunciations
from models.training.split import Part
from tests.bench.hearing.__main__ import TRIES, clips
from tests.bench.hearing.mixtures import Mixer

_PEOPLE, _PHRASES, _NOT_FOR_US = 0.7, 0.1, 0.2
"""What each kind of sound counts for: people's readings and words, phrases by voices, other talk. A judgement."""

Numbers = np.ndarray[tuple[int], np.dtype[np.float64]]


@dataclass(frozen=True)
class Observed:
    """A sentence heard in a clip: its fit, how far the others are behind, whether it was right."""

    fit: float
    behind: Numbers
    right: bool
    kind: float
    """The weight of its kind."""


def main() -> None:
    """Read the command line, play, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("model", type=Path)
    parser.add_argument(
        "--most", type=int, default=60, help="clips of people of a task; others three times as many"
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        model = Path(shutil.copytree(given.model, Path(name) / "model"))
        (model / SUMS).unlink()
        settings = json.loads((model / "conf" / "listening.json").read_text(encoding="utf-8"))
        settings |= {"score_scale": 1.0, "base": 0.0, "steepness": 0.0}
        (model / "conf" / "listening.json").write_text(json.dumps(settings), encoding="utf-8")
        seen = observe(Recogniser(model), given.most)
    print(f"{len(seen)} sentences heard, {sum(one.right for one in seen)} of them right")
    scale, base, steepness = fitted(seen)
    print(f"--score-scale {scale:.2f} --base {base:.2f} --steepness {steepness:.2f}")


def observe(ears: Recogniser, most: int) -> list[Observed]:
    """Play the clips that are kept for tuning; return every sentence of a grammar that was heard."""
    by_task = defaultdict(list)
    for clip in clips(Part.TUNE, None):
        by_task[clip.task].append(clip)
    mixer, known = Mixer(Part.TUNE), Pronunciations()
    seen = []
    for task, listed in by_task.items():
        of_people = task in TRIES
        levels = (None, 10.0) if of_people else (15.0, 5.0) if listed[0].words else (None,)
        kind = _PEOPLE if of_people else _PHRASES if listed[0].words else _NOT_FOR_US
        for clip in listed[: most if of_people else 3 * most]:
            for ratio in levels:
                found = ears.recognise(mixer(clip, ratio), unfinished_too(clip.grammar))
                if found and UNKNOWN not in found[0].text:
                    phones = sum(len(known.of(word)[0]) for word in found[0].text)
                    behind = np.array([float(one.score) for one in found[1:]])
                    assert ears.best_score is not None
                    seen.append(Observed(ears.best_score / phones, behind, found[0].text == clip.words, kind))
    return seen


def fitted(seen: Sequence[Observed]) -> tuple[float, float, float]:
    """Return scale, base and steepness of the greatest likelihood."""
    fit = np.array([one.fit for one in seen])
    right = np.array([one.right for one in seen])
    kinds = np.array([one.kind for one in seen])
    weights = sum((kinds == kind) * kind / max(1, (kinds == kind).sum()) for kind in set(kinds))

    def surprise(values: Numbers) -> float:
        scale, base, steepness = math.exp(values[0]), *values[1:]
        known = 1 / (1 + np.exp(-np.clip(base + steepness * fit, -30, 30)))
        share = np.array([1 / (1 + np.exp(one.behind / scale).sum()) for one in seen])
        sure = np.clip(known * share, 1e-6, 1 - 1e-6)
        return float(-(weights * np.log(np.where(right, sure, 1 - sure))).sum())

    start = np.array([0.8, 2.0, 2.0])
    best = minimize(surprise, start, method="Nelder-Mead", options={"maxiter": 4000, "maxfev": 4000})
    return math.exp(best.x[0]), *(float(value) for value in best.x[1:])


if __name__ == "__main__":
    main()
