"""The hearing bench: `python -m tests.bench.hearing --part final --to FOLDER` (needs the recordings of people).

Plays the same mixtures to every ear that is installed, prints tables, and saves every answer
(`answers.jsonl`) and a picture (`hearing.png`). `--part tune` is for choosing settings; `final` is for once.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from handsfree.hearing.model_folder import ModelFolder
from models.training.split import Part
from tests.bench.hearing import ears, material
from tests.bench.hearing.measures import Played, calibration_error, told, wrong_at
from tests.bench.hearing.mixtures import RATIOS, Mixer

TRIES = {"single words", "telephone digits", "an4/test strings", "held-out strings", "joined readings"}
_JUDGING = {"strict", "third opinion", "phrase lists"}
"""The ears that say how sure they are."""
_TOLD = {"single words": {"single words"}, "readings": {"joined readings", "held-out strings", "an4/test strings"}}
RIVALS_MOST = 150
"""Clips of a task that the slow rivals hear; ours hear all, and the tables compare on the shared ones."""


def clips(part: Part, tasks: set[str] | None) -> list[material.Clip]:
    """Return the clips of a part, shuffled the same way every time."""
    sources = {
        "single": lambda: material.single_words(part),
        "telephone": lambda: material.telephone_digits(part),
        "an4": material.an4_strings if part is Part.FINAL else list,
        "held-out": lambda: material.held_out_strings(part),
        "joined": lambda: material.joined_readings(part),
        "phrases": lambda: material.shipped_phrases(part),
        "other": lambda: material.not_for_us(part),
        "noise": lambda: material.only_noise(part),
    }
    found = [clip for name, source in sources.items() if tasks is None or name in tasks for clip in source()]
    random.Random(1).shuffle(found)
    return found


def ratios(task: str) -> Sequence[float | None]:
    """Return the ratios at which a task is played."""
    return RATIOS if task in TRIES else (15.0,) if "phrases" in task else (None,)


def play(
    ear_name: str,
    ear: ears.Ear,
    listed: Sequence[material.Clip],
    mixer: Mixer,
    levels: Sequence[float] | None = None,
) -> list[Played]:
    """Play clips to an ear, at some levels of noise only where these are given."""
    played = []
    for clip in listed:
        for ratio in [each for each in ratios(clip.task) if levels is None or each in levels]:
            sound = mixer(clip, ratio)
            begin = time.perf_counter()
            heard = ear(sound, clip.grammar)
            took = time.perf_counter() - begin
            length = len(sound) / 2 / material.RATE
            played.append(
                Played(
                    ear_name,
                    clip.task,
                    ratio,
                    clip.speaker,
                    clip.words,
                    heard.words,
                    heard.confidence,
                    heard.guess,
                    heard.at_once,
                    heard.stop,
                    heard.after,
                    took,
                    length,
                )
            )
    return played


def tables(played: Sequence[Played]) -> None:
    """Print everything that was counted."""
    by_task: dict[str, list[Played]] = defaultdict(list)
    for one in played:
        by_task[one.task].append(one)
    for task, ones in sorted(by_task.items()):
        print(f"\n## {task}")
        names = sorted({one.ear for one in ones})
        for ratio in ratios(task):
            for name in names:
                row([one for one in ones if one.ear == name and one.ratio == ratio])
        for name in names:
            worst_speakers([one for one in ones if one.ear == name])
    for name in sorted({one.ear for one in played}):
        ones = [one for one in played if one.ear == name]
        told_for = [one for one in ones if one.said and one.task in TRIES]
        speed = sum(one.seconds for one in ones) / sum(one.length for one in ones)
        waits = sorted(1000 * one.after for one in ones)
        print(
            f"\n{name}: real-time factor {speed:.3f}; calibration error {calibration_error(told_for):.3f}; "
            f"from the last sound to the answer {waits[len(waits) // 2]:.0f} ms, of 19 in 20 at most "
            f"{waits[len(waits) * 19 // 20]:.0f} ms"
        )
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"memory of this process at its highest: {memory:.0f} MB")


def row(here: Sequence[Played]) -> None:
    """Print the counts of one ear at one task and ratio."""
    if not here:
        return
    at = "clean" if here[0].ratio is None else f"{here[0].ratio:.0f} dB"
    if here[0].said:
        wrong, least = wrong_at(here, 0.95)
        print(
            f"{at:>6} {here[0].ear:<14} right {told(sum(one.right for one in here), len(here)):<32} "
            f"wrong {sum(bool(one.heard) and not one.right for one in here):>3}, "
            f"not understood {sum(not one.heard for one in here):>3}; "
            f"best guess right {told(sum(one.guessed for one in here), len(here))}, "
            f"words lost {told(sum(one.lost_words for one in here), sum(len(one.said) for one in here))}"
        )
        if here[0].task == "stop and hazard phrases":
            stopped = sum(one.stopped_rightly for one in here)
            print(f"{'':>21} the work stops, for the right reason {told(stopped, len(here))}")
        if here[0].ear in _JUDGING:
            taken = [one for one in here if one.at_once]
            print(
                f"{'':>21} taken at once {told(len(taken), len(here))}, of them wrong "
                f"{told(sum(not one.right for one in taken), len(taken))}; "
                f"wrong of the surest 95 %: {told(wrong, len(here))} at confidence {least:.3f}"
            )
    else:
        hours = sum(one.length for one in here) / 3600
        taken = sum(bool(one.heard) for one in here)
        at_once = sum(one.at_once for one in here)
        print(
            f"{at:>6} {here[0].ear:<14} taken for us {told(taken, len(here))}, {taken / hours:.0f} an hour; "
            f"without a question {told(at_once, len(here))}, {at_once / hours:.0f} an hour; "
            f"false stops {sum(one.stop is not None for one in here)} in {hours:.2f} hours"
        )


def worst_speakers(ones: Sequence[Played]) -> None:
    """Print the speakers of whom least was right, clean or (phrases) at 15 dB."""
    speakers: dict[str, list[bool]] = defaultdict(list)
    for one in ones:
        if one.said and one.ratio == ratios(one.task)[0]:
            speakers[one.speaker].append(one.right)
    rated = sorted(
        (sum(right) / len(right), len(right), who) for who, right in speakers.items() if len(right) >= 3
    )
    if rated:
        worst = ", ".join(f"{who} {100 * share:.0f} % of {count}" for share, count, who in rated[:3])
        print(f"       {ones[0].ear:<14} {len(rated)} speakers of 3 clips or more; the worst: {worst}")


def main() -> None:
    """Read the command line, play, count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--part", choices=["tune", "final"], default="final")
    parser.add_argument("--model", type=Path, default=material.ROOT / "models" / "english")
    parser.add_argument("--tasks", nargs="*", help="single telephone an4 held-out joined phrases other noise")
    parser.add_argument("--ears", nargs="*", default=["strict", "phrase lists", "pocketsphinx", "whisper"])
    parser.add_argument("--whisper", type=Path, help="a folder with Whisper weights for faster-whisper")
    parser.add_argument("--most", type=int, default=10_000, help="clips of a task")
    parser.add_argument(
        "--pieces", type=int, default=1, help="play in so many pieces; --again tells of them together"
    )
    parser.add_argument("--piece", type=int, default=0, help="which one")
    parser.add_argument(
        "--ratios", nargs="*", type=float, help="of what is for us, these levels of noise only, in dB"
    )
    parser.add_argument("--to", type=Path, default=Path("hearing-bench"))
    parser.add_argument("--accuracy", type=Path, help="write what the sound check tells of to this file")
    parser.add_argument("--again", type=Path, nargs="+", help="tables and picture of answers that were saved")
    given = parser.parse_args()
    if given.again:
        played = [one for file in given.again for one in saved(file)]
        report(played, given.to)
        if given.accuracy:
            given.accuracy.write_text(json.dumps(accuracy(played, given.model), indent=1) + "\n", encoding="utf-8")
        return
    if not material.SPEECH.is_dir():
        sys.exit(f"the recordings of people are not at {material.SPEECH}")
    part = Part(given.part)
    by_task: dict[str, list[material.Clip]] = defaultdict(list)
    for clip in clips(part, set(given.tasks) if given.tasks else None):
        by_task[clip.task].append(clip)
    print({task: len(listed) for task, listed in by_task.items()}, flush=True)
    makers = {
        "strict": lambda: ears.strict(given.model),
        "third opinion": lambda: ears.with_third_opinion(given.model),
        "phrase lists": lambda: ears.phrase_lists(given.model),
        "pocketsphinx": ears.pocketsphinx,
        "whisper": lambda: ears.whisper(given.whisper),
    }
    played: list[Played] = []
    given.to.mkdir(parents=True, exist_ok=True)
    for name in given.ears:
        ear = makers[name]()
        if ear is None:
            print(f"{name}: not installed, or without weights")
            continue
        for task, listed in by_task.items():
            if name in {"pocketsphinx", "whisper"} and task not in TRIES:
                continue
            most = min(given.most, RIVALS_MOST if name == "whisper" else given.most)
            played += play(name, ear, listed[:most][given.piece :: given.pieces], Mixer(part), given.ratios)
        with (given.to / "answers.jsonl").open("w", encoding="utf-8") as file:  # some ears take an hour
            file.writelines(json.dumps(asdict(one)) + "\n" for one in played)
        print(f"{name}: done", flush=True)
    report(played, given.to)


def accuracy(played: Sequence[Played], model: Path) -> dict[str, object]:
    """Return what the sound check tells of: how much our ears get right at the first call, by noise."""
    levels = sorted(ratio for ratio in RATIOS if ratio is not None)
    kinds = {}
    for kind, tasks in _TOLD.items():
        here = [one for one in played if one.ear == "strict" and one.task in tasks]
        by_level = [[one.right for one in here if one.ratio == level] for level in levels]
        kinds[kind] = {"right": [sum(rights) for rights in by_level], "of": [len(rights) for rights in by_level]}
    identity = ModelFolder.check(model).identity
    return {"measured": time.strftime("%Y-%m-%d"), "model": identity, "levels_db": levels, "kinds": kinds}


def saved(file: Path) -> list[Played]:
    """Read answers that were saved."""
    lines = map(json.loads, file.read_text(encoding="utf-8").splitlines())
    return [Played(**{**one, **{name: tuple(one[name]) for name in ("said", "heard", "guess")}}) for one in lines]


def report(played: Sequence[Played], to: Path) -> None:
    """Print the tables and save the picture."""
    to.mkdir(parents=True, exist_ok=True)
    tables(played)
    try:
        from tests.bench.hearing.picture import draw  # noqa: PLC0415 - matplotlib is not always there
    except ImportError:
        print("no picture: matplotlib is not installed")
        return
    draw(played, to / "hearing.png")


if __name__ == "__main__":
    main()
