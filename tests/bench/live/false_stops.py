"""Stops that nobody called, over hours of unseen close talk: `python -m tests.bench.live.false_stops`.

All talk in ../shared/speech that is not for us, of people by whom no network was taught and on whom no margin was
fitted, goes through the listener of a visit, a clip after the other, in a quiet room, at four questions of the
shipped procedure in turn; the session's own rule decides (`hazard_heard`). The order is drawn by lot, so what
ends early (`--minutes`) is a sample of the whole. Prints false stops by phrase, by collection and by question, the
hours (of the clips, without the pauses between them), false stops an hour with the 95 % interval, and the bare
"stop" of people, heard in so many dB over noise, with its interval.

`--parts final` alone leaves out whom a newer network may have been taught by; `--parts tune --to FILE` keeps what
`python -m models.training.judge_short_stops` and `judge_stops_in_quiet` fit on. An hour of talk takes a core about
an hour: `--processes 16` hears all of it in three quarters of one. `--share 1/3` hears the first third of the lot.
"""

from __future__ import annotations

import argparse
import gzip
import json
import multiprocessing
import os
import random
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import numpy as np

from handsfree.events.inputs import Heard
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.model_folder import ModelFolder
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.procedure.languages import english
from handsfree.session.fusion import hazard_heard
from handsfree.visit.hearing import heard_from
from models.training import people, recordings
from models.training.split import Part, of_speaker
from tests.bench.hearing.calls import RATE, TALK_AT, Call, bare_stops, places, stop_words
from tests.bench.hearing.measures import told
from tests.bench.hearing.playing import Stage, line
from tests.bench.live import material
from tests.bench.live.figures import AnHour
from tests.bench.live.scale import MODEL

COLLECTIONS = (
    "librispeech-test-clean", "speechocean762", "wake-words", "speech-commands-bed-cat-happy",
    "british-words-confusion-corpus", "alphanumeric-accents", "coswara-counting",
)  # fmt: skip
ROOM_DB = -40
"""The burner's noise against the talk: a quiet room."""
PAUSE = np.zeros(RATE)
STRETCH_S = 60.0
"""Of one collection, at one question, heard as one recording."""
RATIOS = (None, 25.0, 15.0, 10.0, 0.0)
SILENT = 99.0
NOISES_EACH = 3
"""Stretches of noise under each call."""
TOLD_EVERY_S = 60.0


@dataclass(frozen=True)
class Stretch:
    """Clips of one collection that are heard in a row at one question."""

    collection: str
    at: str
    clips: tuple[tuple[str, int], ...]
    """Name, and which of the collection's clips it is."""
    seconds: float


@dataclass(frozen=True)
class Trial:
    """One "stop" by a person over one stretch of noise at one question."""

    name: str
    who: str
    number: int
    """Which of `bare_stops` it is."""
    at: str
    ratio: float | None
    """How many dB it stands over the noise; None: in a silent room."""
    noise: int


@dataclass(frozen=True)
class FalseStop:
    """A stop that nobody called."""

    hazard: str
    words: str
    collection: str
    at: str
    near: str
    """The clip that was heard last when it was told."""


def talk(speech: Path, parts: tuple[Part, ...]) -> dict[str, list[tuple[str, float, Callable[[], np.ndarray]]]]:
    """Return the clips of each collection: name, seconds, sound. Who says a stop phrase of ours is left out."""
    found: dict[str, list[tuple[str, float, Callable[[], np.ndarray]]]] = {}
    for collection in COLLECTIONS:
        found[collection] = [
            (f"{one.name} {one.words[:40]!r}", one.seconds, one.samples)
            for one in people.clips(speech, collection, *parts)
            if english().hazard_of(one.words.lower()) is None
        ]
    # These taught the shipped networks: only what was kept from them is unseen.
    kept = Part.TUNE if Part.TUNE in parts else Part.FINAL
    found["other-talk"] = [
        (f"{one.speaker} {number}", len(one.samples) / RATE, lambda one=one: one.samples)
        for number, one in enumerate(recordings.other_talk(speech, kept))
        if np.abs(one.samples).max() > 0
    ]
    found["commands"] = [
        (f"{one.speaker} {one.words[0]}", len(one.samples) / RATE, lambda one=one: one.samples)
        for one in recordings.commands(speech, kept)
        if np.abs(one.samples).max() > 0
    ]
    return found


@cache
def _talk(speech: Path, parts: tuple[Part, ...]) -> dict[str, list[tuple[str, float, Callable[[], np.ndarray]]]]:
    return talk(speech, parts)


def stretches(speech: Path, parts: tuple[Part, ...]) -> list[Stretch]:
    """Return all of it in stretches, in an order drawn by lot that is always the same."""
    found = []
    for collection, clips in _talk(speech, parts).items():
        order = list(range(len(clips)))
        random.Random(f"{collection} clips").shuffle(order)
        row: list[tuple[str, int]] = []
        seconds = 0.0
        for place, number in enumerate(order):
            row.append((clips[number][0], number))
            seconds += clips[number][1]
            if seconds >= STRETCH_S or place == len(order) - 1:
                found.append(Stretch(collection, TALK_AT[len(found) % len(TALK_AT)], tuple(row), seconds))
                row, seconds = [], 0.0
    random.Random("stretches").shuffle(found)
    return found


class _Ears:
    """What one process hears with."""

    def __init__(self, speech: Path, parts: tuple[Part, ...], *, third: bool) -> None:
        self.speech, self.parts = speech, parts
        plan = GeneralPlan.of(english()) if third else None
        member = None if plan is None else GeneralMember(replace(plan, threads=1))
        if member is not None:
            member.wait().patient()
        self.recogniser = Recogniser(MODEL, None, member)
        self.pronunciations = english().pronounced({})

    def heard(self, samples: np.ndarray, at: str) -> list[Heard]:
        """Return every utterance as a visit records it."""
        listener = Listener(self.recogniser, stop_words())
        grammar = places()[at].grammar.automaton
        listener.listen_for(grammar)
        told = [one for one in listener.utterances(Recording(samples)) if isinstance(one, Utterance)]
        return [heard_from(one, 0, 0, grammar.identity, None) for one in told]

    def stops(self, heard: Iterable[Heard], at: str) -> Iterator[tuple[str, str, int]]:
        """Yield hazard, words and begin in ms of each stop that a visit would act on."""
        for one in heard:
            called = hazard_heard(english(), self.pronunciations, places()[at].grammar, one)
            if called is not None:
                yield called[0], " ".join(called[1]), one.started


_ears: _Ears | None = None


def _begin(speech: Path, parts: tuple[Part, ...], *, third: bool) -> None:
    global _ears  # noqa: PLW0603 - one for each process
    _ears = _Ears(speech, parts, third=third)


def _heard(stretch: Stretch) -> tuple[Stretch, list[FalseStop], list[Heard]]:
    assert _ears is not None
    clips = _talk(_ears.speech, _ears.parts)[stretch.collection]
    pieces, ends = [3 * PAUSE[: RATE // 3]], []
    for _, number in stretch.clips:
        pieces += [material.levelled(np.asarray(clips[number][2](), dtype=np.float64) * 32768), PAUSE]
        ends.append(sum(map(len, pieces)) * 1000 // RATE)
    wave = np.concatenate(pieces)
    wave = wave + np.resize(material.burner_noise(30), len(wave)) * (2000 * 10 ** (ROOM_DB / 20))
    samples = np.clip(wave, -32768, 32767).astype(np.int16)
    found = []
    heard = _ears.heard(samples, stretch.at)
    for hazard, words, start_ms in _ears.stops(heard, stretch.at):
        near = next((name for (name, _), end in zip(stretch.clips, ends, strict=True) if start_ms < end), "")
        found.append(FalseStop(hazard, words, stretch.collection, stretch.at, near))
    return stretch, found, heard


def _called(trial: Trial) -> tuple[Trial, bool, list[Heard]]:
    """Play one "stop" over one stretch of noise at one question; say whether the visit stopped."""
    assert _ears is not None
    samples = list(bare_stops(_ears.speech))[trial.number][3]
    stage = Stage(_ears.speech, Part.TUNE if Part.TUNE in _ears.parts else Part.FINAL)
    name = f"{trial.name} {trial.at} {trial.noise}"
    sound = stage(Call("stop", name, trial.who, ("stop",), trial.at, samples), trial.ratio)
    heard = _ears.heard(sound, trial.at)
    return trial, any(hazard == "stop-work" for hazard, _, _ in _ears.stops(heard, trial.at)), heard


def trials(speech: Path, *, tuned: bool) -> list[Trial]:
    """Return the calls of "stop" by people who taught no network: of those for tuning, or of the others."""
    return [
        Trial(name, who, number, at, ratio, noise)
        for number, (name, who, taught, _) in enumerate(bare_stops(speech))
        if not taught and tuned is (who.startswith("an4") and of_speaker("an4", who.split()[-1]) is Part.TUNE)
        for at in TALK_AT
        for ratio in RATIOS
        for noise in range(NOISES_EACH)
    ]


def main() -> None:
    """Listen and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--speech", type=Path, default=material.SPEECH)
    parser.add_argument("--parts", nargs="+", choices=["final", "train", "tune"], default=["final", "train"])
    parser.add_argument(
        "--collections",
        nargs="+",
        choices=[*COLLECTIONS, "other-talk", "commands"],
        help="the talk of these alone",
    )
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--minutes", type=float, default=600.0, help="end then, with what was heard by then")
    parser.add_argument(
        "--share", default="1/1", help="which share of the talk, as 2/3: each is a sample of the whole"
    )
    parser.add_argument("--only", choices=["talk", "stops"], help="only the one, or only the other")
    parser.add_argument(
        "--third-opinion", action="store_true", help="ask it too, as a visit does where it is installed"
    )
    parser.add_argument("--json", type=Path, help="save the figures here too")
    parser.add_argument(
        "--to", type=Path, help="keep all that was heard, as `models.training.judge_short_stops` reads it"
    )
    given = parser.parse_args()
    parts = tuple(Part(name) for name in given.parts)
    begun = time.monotonic()
    print(f"model {ModelFolder.check(MODEL).identity[:12]}; parts {', '.join(given.parts)}", flush=True)
    found, seconds, by_place, last = [], Counter[str](), Counter[str](), begun
    people_heard: dict[float, dict[str, list[bool]]] = defaultdict(lambda: defaultdict(list))
    tuned = Part.TUNE in parts
    calls = [] if given.only == "talk" else trials(given.speech, tuned=tuned)
    which, of = map(int, given.share.split("/"))
    work = [] if given.only == "stops" else stretches(given.speech, parts)
    work = [one for one in work if one.collection in (given.collections or [one.collection])][which - 1 :: of]
    context = multiprocessing.get_context("spawn")
    with (
        context.Pool(given.processes, partial(_begin, given.speech, parts, third=given.third_opinion)) as pool,
        gzip.open(given.to or os.devnull, "wt", encoding="utf-8") as kept,
    ):
        for trial, stopped, heard in pool.imap_unordered(_called, calls):
            people_heard[SILENT if trial.ratio is None else trial.ratio][trial.who].append(stopped)
            name = f"{trial.name} {trial.at} {trial.noise}"
            kept.write(_line("stop", name, trial.who, ("stop",), trial.at, trial.ratio, 0, heard))
        _print_heard(people_heard)
        whole = sum(one.seconds for one in work) / 3600
        print(f"{whole:.1f} h of talk, {len(work)} stretches, {given.processes} processes", flush=True)
        for stretch, stops, heard in pool.imap_unordered(_heard, work):
            found += stops
            seconds[stretch.collection] += stretch.seconds
            by_place[stretch.at] += stretch.seconds
            name = f"{stretch.collection} {stretch.clips[0][0]}"
            kept.write(_line("close talk", name, name, (), stretch.at, -ROOM_DB, stretch.seconds, heard))
            if time.monotonic() - last >= TOLD_EVERY_S:
                last = time.monotonic()
                print(f"  {(last - begun) / 60:.0f} min: {AnHour(len(found), _hours(seconds))}", flush=True)
            if time.monotonic() - begun > 60 * given.minutes:
                pool.terminate()
                break
    if seconds:
        _print_false(found, seconds, by_place)
    if given.json:
        saved = {
            "parts": given.parts,
            "hours": _hours(seconds),
            "false_stops": AnHour(len(found), _hours(seconds)).as_json() if seconds else None,
            "each": [vars(one) for one in found],
            "heard": {
                ratio: {who: [sum(each), len(each)] for who, each in heard.items()}
                for ratio, heard in people_heard.items()
            },
        }
        given.json.write_text(json.dumps(saved, indent=1) + "\n", "utf-8")


def _line(
    task: str, name: str, who: str, words: tuple[str, ...], at: str, ratio: float | None, seconds: float,
    heard: list[Heard],
) -> str:  # fmt: skip
    said = [one.model_dump(mode="json") for one in heard]
    return line(
        {
            "task": task, "name": name, "speaker": who, "words": list(words), "place": at, "ratio": ratio,
            "seconds": seconds, "cpu": 0, "heard": said,
        }
    )  # fmt: skip


def _hours(seconds: Counter[str]) -> float:
    return sum(seconds.values()) / 3600


def _print_heard(people_heard: dict[float, dict[str, list[bool]]]) -> None:
    for ratio, heard in sorted(people_heard.items(), reverse=True):
        each = [one for them in heard.values() for one in them]
        always = sum(all(them) for them in heard.values())
        where = "in a silent room" if ratio == SILENT else f"{ratio:g} dB over noise"
        print(
            f'"stop" said alone, {where}: {told(sum(each), len(each))}, '
            f"{always} of {len(heard)} people every time",
            flush=True,
        )


def _print_false(found: list[FalseStop], seconds: Counter[str], by_place: Counter[str]) -> None:
    print(f"false stops: {AnHour(len(found), _hours(seconds))}")
    for (hazard, words), count in Counter((one.hazard, one.words) for one in found).most_common():
        near = next(one.near for one in found if one.words == words)
        print(f"  {count:3} x {words!r} ({hazard}), as in {near}")
    for name, length in seconds.most_common():
        print(f"  {name}: {AnHour(sum(one.collection == name for one in found), length / 3600)}")
    for name, length in by_place.most_common():
        print(f"  at the question {name!r}: {AnHour(sum(one.at == name for one in found), length / 3600)}")


if __name__ == "__main__":
    main()
