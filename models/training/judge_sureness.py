"""Fit how sure a visit is of what it heard: `python -m models.training.judge_sureness HEARD... [--check ...]`.

HEARD are files of `python -m tests.bench.hearing.visit hear --part tune`; `--check` takes files of the final part
and prints the error there. Each call for us counts with its first utterance, and each piece of other talk as said
wrongly. The error is the mean distance between the probability told and the share that is right, in ten groups of
as many calls. `--write` writes both functions into `handsfree/session/margins.yaml`, with the evidence.
"""

from __future__ import annotations

import argparse
import gzip
import json
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

from handsfree.events.inputs import Heard
from handsfree.session.how_sure import features
from handsfree.session.margins import MARGINS as NOW
from models.training.judge_short_stops import write
from tests.bench.hearing import calls
from tests.bench.hearing.deciding import clip_of, in_doubt, without

BEGINS = "how sure"
"""How the evidence of this fit begins."""
GROUPS = 10
FIRM = 0.01
"""How firmly weights are held near 0; the calls are thousands, so it hardly matters."""
Floats = np.ndarray[Any, np.dtype[Any]]


def main() -> None:
    """Fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("heard", nargs="+", type=Path)
    parser.add_argument("--check", nargs="*", type=Path, default=[])
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    update: dict[str, Any] = {}
    told = []
    for name, third in (("sure_ours", False), ("sure_both", True)):
        taken, right = _table(given.heard, third=third)
        weights = fitted(taken, right)
        update[name] = tuple(Decimal(f"{weight:.3f}") for weight in weights)
        error = calibration_error(sure(taken, weights), right)
        told.append(f"{len(right)} calls {'with' if third else 'without'} the third opinion, error {error:.3f}")
        if given.check:
            taken, right = _table(given.check, third=third)
            print(
                f"{name} elsewhere: {len(right)} calls, error {calibration_error(sure(taken, weights), right):.3f}"
            )
    evidence = f"{BEGINS}: by people and voices kept for tuning, {'; '.join(told)}"
    print(evidence, update)
    if given.write:
        kept = [one for one in NOW.evidence if not one.startswith(BEGINS)]
        write(NOW.model_copy(update={**update, "evidence": (*kept, evidence)}))


def fitted(taken: Floats, right: Floats) -> Floats:
    """Return the weights of the logistic function, (features,); `taken` is (calls, features), `right` (calls,)."""

    def loss(weights: Floats) -> float:
        odds = taken @ weights
        return float(np.sum(np.logaddexp(0, odds) - right * odds) + FIRM * np.sum(weights[1:] ** 2))

    return np.asarray(minimize(loss, np.zeros(taken.shape[1])).x)


def sure(taken: Floats, weights: Floats) -> Floats:
    """Return the probability told of each call, (calls,)."""
    return np.asarray(1 / (1 + np.exp(-(taken @ weights))))


def calibration_error(told: Floats, right: Floats) -> float:
    """Return the expected calibration error, by groups of as many calls each."""
    order = np.argsort(told, kind="stable")
    groups: Sequence[Floats] = np.array_split(order, GROUPS)
    gaps = [len(group) * abs(float(told[group].mean() - right[group].mean())) for group in groups if len(group)]
    return sum(gaps) / len(told)


def _table(files: Sequence[Path], *, third: bool) -> tuple[Floats, Floats]:
    rows = list(_rows(files, third=third))
    return np.array([taken for taken, _ in rows]), np.array([float(right) for _, right in rows])


def _rows(files: Sequence[Path], *, third: bool) -> Iterator[tuple[tuple[float, ...], bool]]:
    found = [json.loads(line) for file in files for line in gzip.decompress(file.read_bytes()).splitlines()]
    doubted = in_doubt(found)
    for one in found:
        if not one["heard"] or clip_of(one) in doubted:
            continue
        heard = Heard.model_validate(one["heard"][0])
        heard = heard if third else without(heard)
        taken = features(heard)
        if taken is None or len(taken) != (4 if third else 3):
            continue
        grammar = calls.places()[one["place"]].grammar
        said = set(grammar.read(one["words"])) if one["words"] else set()
        yield taken, bool(said & set(grammar.read(heard.alternatives[0].text)))


if __name__ == "__main__":
    main()
