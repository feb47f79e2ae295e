"""Fit how scores become odds, on the speakers kept for tuning: `python -m models.training.tune MODEL`.

Plays the bench's `tune` part to a model whose judgement is switched off, and finds the scale of scores and the
logistic function of the fit that make "the best alternative is right" likeliest. Prints the three settings.
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
import tempfile
from collections import defaultdict
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from handsfree.hearing.ending import unfinished_too
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.model_folder import SUMS
from handsfree.hearing.recogniser import Recogniser
from handsfree.lexicon.pronunciation import Pronunciations
from models.training.split import Part
from tests.bench.hearing.__main__ import clips, ratios
from tests.bench.hearing.mixtures import Mixer

_FOR_US, _NOT_FOR_US = 0.8, 0.2
"""How often speech at an open ear is for the tool; a judgement, not a measurement."""


def main() -> None:
    """Read the command line, play, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("model", type=Path)
    parser.add_argument("--most", type=int, default=80, help="clips of a task")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        model = Path(shutil.copytree(given.model, Path(name) / "model"))
        (model / SUMS).unlink()
        settings = json.loads((model / "conf" / "listening.json").read_text(encoding="utf-8"))
        settings |= {"score_scale": 1.0, "middle_fit": 0.0, "steepness": 0.0}
        (model / "conf" / "listening.json").write_text(json.dumps(settings), encoding="utf-8")
        fits, leads, right, weights = observe(Recogniser(model), given.most)
    scale, middle, steepness = fitted(fits, leads, right, weights)
    print(f"--score-scale {scale:.2f} --middle-fit {middle:.2f} --steepness {steepness:.2f}")


Numbers = np.ndarray[tuple[int], np.dtype[np.float64]]


def observe(ears: Recogniser, most: int) -> tuple[Numbers, list[Numbers], Numbers, Numbers]:
    """Return, for every sentence heard: its fit, how far the others are behind, was it right, and its weight."""
    by_task = defaultdict(list)
    for clip in clips(Part.TUNE, None):
        by_task[clip.task].append(clip)
    mixer, known = Mixer(Part.TUNE), Pronunciations()
    fits, leads, right, ours = [], [], [], []
    for task, listed in by_task.items():
        for clip in listed[:most]:
            for ratio in (None, 15.0, 5.0) if len(ratios(task)) > 1 else ratios(task):
                found = ears.recognise(mixer(clip, ratio), unfinished_too(clip.grammar))
                if found and UNKNOWN not in found[0].text:
                    phones = sum(len(known.of(word)[0]) for word in found[0].text)
                    assert ears.best_score is not None
                    fits.append(ears.best_score / phones)
                    leads.append(np.array([float(one.score) for one in found[1:]]))
                    right.append(found[0].text == clip.words)
                    ours.append(bool(clip.words))
    mine = np.array(ours)
    weights = np.where(mine, _FOR_US / mine.sum(), _NOT_FOR_US / (~mine).sum())
    print(f"{len(fits)} sentences heard, {sum(right)} of them right, {(~mine).sum()} out of other talk")
    return np.array(fits), leads, np.array(right, dtype=np.float64), weights


def fitted(fits: Numbers, leads: list[Numbers], right: Numbers, weights: Numbers) -> tuple[float, float, float]:
    """Return scale, middle and steepness of the greatest likelihood."""

    def surprise(values: Numbers) -> float:
        scale, middle, steepness = math.exp(values[0]), values[1], math.exp(values[2])
        known = 1 / (1 + np.exp(-np.clip((fits - middle) * steepness, -30, 30)))
        share = np.array([1 / (1 + np.exp(behind / scale).sum()) for behind in leads])
        sure = np.clip(known * share, 1e-6, 1 - 1e-6)
        return float(-(weights * (right * np.log(sure) + (1 - right) * np.log(1 - sure))).sum())

    best = minimize(surprise, np.array([0.0, float(np.median(fits)) - 2, 0.5]), method="Nelder-Mead")
    return math.exp(best.x[0]), float(best.x[1]), math.exp(best.x[2])


if __name__ == "__main__":
    main()
