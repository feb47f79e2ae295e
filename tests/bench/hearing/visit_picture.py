"""What a visit does with calls, as one picture: at once right and wrong by noise, by whom they are judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")
from matplotlib import pyplot as plt

from tests.bench.hearing.deciding import ANSWERED, ASKED, JUDGED, RIGHT, STOPPED, WRONG, Found, Judge, outcome

_COLOURS: Mapping[Judge, str] = {"ours": "C0", "third": "C2", "both": "C1"}


def draw(found: Sequence[Found], to: Path) -> None:
    """Draw a panel for each task that was played in several noises, and one for talk that is not for us."""
    by_task: dict[str, list[Found]] = {}
    for one in found:
        if one["words"] and not one["task"].startswith("stop"):
            by_task.setdefault(one["task"], []).append(one)
    shown = {task: here for task, here in by_task.items() if len({one["ratio"] for one in here}) > 2}
    figure, axes = plt.subplots(2, -(-(len(shown) + 1) // 2), figsize=(13, 7), squeeze=False)
    panels = axes.flat
    for axis, (task, here) in zip(panels, shown.items(), strict=False):
        _task(axis, task, here)
    _talk(axes.flat[len(shown)], [one for one in found if not one["words"]])
    for axis in axes.flat[len(shown) + 1 :]:
        axis.axis("off")
    figure.tight_layout()
    figure.savefig(to, dpi=80)


def _task(axis: plt.Axes, task: str, here: Sequence[Found]) -> None:
    ratios = sorted({one["ratio"] for one in here if one["ratio"] is not None}, reverse=True)
    noises = [None, *ratios]
    for judge, name in JUDGED.items():
        right, wrong = list[float | None](), list[float | None]()
        for noise in noises:
            kinds = [outcome(one, judge) for one in here if one["ratio"] == noise]
            right.append(100 * kinds.count(RIGHT) / len(kinds) if kinds else None)
            wrong.append(100 * kinds.count(WRONG) / len(kinds) if kinds else None)
        axis.plot(range(len(noises)), right, marker="o", color=_COLOURS[judge], label=name)
        axis.plot(range(len(noises)), wrong, marker="x", linestyle=":", color=_COLOURS[judge])
    axis.set_xticks(range(len(noises)), ["clean" if noise is None else f"{noise:.0f}" for noise in noises])
    axis.set(
        title=task, xlabel="speech over noise, dB", ylabel="at once: right, wrong (dotted), %", ylim=(-2, 101)
    )
    axis.grid(alpha=0.3)


def _talk(axis: plt.Axes, talk: Sequence[Found]) -> None:
    places = sorted({one["place"] for one in talk})
    for number, (judge, name) in enumerate(JUDGED.items()):
        shares = []
        for place in places:
            kinds = [outcome(one, judge) for one in talk if one["place"] == place]
            shares.append(
                100 * sum(kind in {ANSWERED, ASKED, RIGHT, WRONG, STOPPED} for kind in kinds) / len(kinds)
            )
        at = [place + (number - 1) * 0.27 for place in range(len(places))]
        axis.bar(at, shares, width=0.25, color=_COLOURS[judge], label=name)
    axis.set_xticks(range(len(places)), places)
    axis.set(title="other talk", ylabel="answered, asked or stopped, %")
    axis.legend(loc="upper right", fontsize=8)
