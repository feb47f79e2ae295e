"""The bench's counts as one picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")
from matplotlib import pyplot as plt

from tests.bench.hearing.measures import Played, reliability
from tests.bench.hearing.mixtures import RATIOS

_TASKS = ("single words", "telephone digits", "joined readings", "held-out strings", "an4/test strings")

_COLOURS = {"strict": "C0", "third opinion": "C4", "phrase lists": "C1", "pocketsphinx": "C2", "whisper": "C3"}


def draw(played: Sequence[Played], to: Path) -> None:
    """Draw the share right by noise for each task and ear, and how honest the confidences are."""
    shown = [task for task in _TASKS if any(one.task == task for one in played)]
    figure, axes = plt.subplots(1, len(shown) + 1, figsize=(4 * (len(shown) + 1), 4), squeeze=False)
    places = list(range(len(RATIOS)))
    for axis, task in zip(axes[0], shown, strict=False):
        for ear in dict.fromkeys(one.ear for one in played):
            shares = []
            for ratio in RATIOS:
                here = [one.right for one in played if (one.task, one.ear, one.ratio) == (task, ear, ratio)]
                shares.append(100 * sum(here) / len(here) if here else None)
            if any(share is not None for share in shares):
                axis.plot(places, shares, marker="o", label=ear, color=_COLOURS[ear])
        axis.set_xticks(places, ["clean" if ratio is None else f"{ratio:.0f}" for ratio in RATIOS])
        axis.set(title=task, xlabel="speech over noise, dB", ylim=(0, 101))
        axis.grid(alpha=0.3)
        axis.legend(loc="lower left")
    axes[0][0].set_ylabel("whole utterance right, %")
    last = axes[0][-1]
    for ear in ("strict", "phrase lists"):
        rows = reliability([one for one in played if one.ear == ear and one.said])
        last.plot(
            [mean for mean, _, _ in rows],
            [share for _, share, _ in rows],
            marker="o",
            label=ear,
            color=_COLOURS[ear],
        )
    last.plot([0, 1], [0, 1], color="grey", linestyle=":")
    last.set(title="confidence and truth", xlabel="confidence", ylabel="share right")
    last.legend()
    figure.tight_layout()
    figure.savefig(to, dpi=80)
