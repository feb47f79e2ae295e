"""What a visit does with calls: `python -m tests.bench.hearing.visit whole --part final --to FOLDER`.

`whole` does all that follows and prints one table; `--model FOLDER` hears by another model than the shipped one,
`--every 4` a quarter of the calls.

`hear --part final --to FILE` plays people's calls at the shipped gates; `talk --hours 6 --to FILE` plays close
talk that is not for us; `tell FILE...` decides by the session's own rules, without the third opinion and with
it, and prints the table. Parts are by speaker (`models/training/split.py`): of the final part nobody was trained
on or tuned to.
"""

from __future__ import annotations

import argparse
import gzip
import json
import multiprocessing
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.sources import Recording
from handsfree.visit.hearing import heard_from
from models.training import people
from models.training.split import Part
from tests.bench.hearing import calls, playing
from tests.bench.hearing.deciding import tell
from tests.bench.hearing.material import RATE, ROOT, SPEECH
from tests.bench.hearing.visit_picture import draw

GAP_S = 0.8
"""Between two sentences of other talk: long enough for an utterance to end."""
STRETCH_S = 60.0

_work: list[Any] = []
_made: dict[str, Any] = {}


def main() -> None:
    """Read the command line; play or tell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["whole", "hear", "talk", "tell"])
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--speech", type=Path, default=SPEECH)
    parser.add_argument("--part", choices=[part.value for part in Part], default="final")
    parser.add_argument("--tasks", nargs="*", default=list(calls.TASKS))
    parser.add_argument("--model", type=Path, default=ROOT / "models" / "english")
    parser.add_argument("--general-model", type=Path)
    parser.add_argument("--alone", action="store_true", help="without the third opinion")
    parser.add_argument("--hours", type=float, default=6.0)
    parser.add_argument("--every", type=int, default=1, help="play every so many-th call only")
    parser.add_argument("--skip", type=int, default=0, help="begin with a later call")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--to", type=Path)
    parser.add_argument("--picture", type=Path, help="with tell: draw what it tells, too")
    given = parser.parse_args()
    if given.what == "tell":
        told = [found for file in given.files for found in _read(file)]
        tell(told)
        if given.picture is not None:
            draw(told, given.picture)
        return
    part = Part(given.part)
    _made.update(speech=given.speech, part=part, general=given.general_model, model=given.model, alone=given.alone)
    if given.what in {"whole", "hear"}:
        work = calls.listed(given.speech, part, given.tasks)[given.skip :: given.every]
        heard = given.to / "calls.jsonl.gz" if given.what == "whole" else given.to
        _play("hear", work, heard, given.jobs)
    if given.what in {"whole", "talk"}:
        work = list(stretches(given.speech, given.hours, part))
        talk = given.to / "talk.jsonl.gz" if given.what == "whole" else given.to
        _play("talk", work, talk, given.jobs)
    if given.what == "whole":
        tell([found for file in (heard, talk) for found in _read(file)])


def _play(what: str, work: list[Any], to: Path, jobs: int) -> None:
    """Play pieces of work in so many processes and write what was heard."""
    _made["what"], _work[:] = what, work
    order = sorted(range(len(work)), key=lambda number: (number * 7919) % max(1, len(work)))
    print(f"{len(work)} pieces of work", flush=True)
    to.parent.mkdir(parents=True, exist_ok=True)
    with (
        gzip.open(to, "wt", encoding="utf-8") as file,
        multiprocessing.get_context("fork").Pool(jobs, _begin) as pool,
    ):
        for count, lines in enumerate(pool.imap_unordered(_do, order), start=1):
            file.writelines(lines)
            if count % 200 == 0:
                print(count, flush=True)


def stretches(speech: Path, hours: float, part: Part) -> Iterator[tuple[str, list[people.PersonClip]]]:
    """Yield about a minute of clips of one person each, of people of a part whom no network was taught by."""
    left = hours * 3600
    for collection in ("librispeech-test-clean", "speechocean762", "wake-words"):
        waiting: list[people.PersonClip] = []
        for clip in people.clips(speech, collection, part):
            if left <= 0:
                return
            waiting.append(clip)
            left -= clip.seconds + GAP_S
            if sum(one.seconds + GAP_S for one in waiting) >= STRETCH_S:
                yield f"{collection} {clip.speaker}", waiting
                waiting = []


def _begin() -> None:
    os.nice(10)
    _made["ears"] = playing.Ears(_made["general"], model=_made["model"], alone=_made["alone"])
    _made["stage"] = playing.Stage(_made["speech"], _made["part"])


def _do(number: int) -> list[str]:
    if _made["what"] == "hear":
        return [playing.line(found) for found in playing.played(_made["ears"], _made["stage"], _work[number])]
    return [playing.line(found) for found in _talked(number)]


def _talked(number: int) -> Iterator[dict[str, Any]]:
    """Play a stretch of close talk; each stretch at the next of the questions."""
    who, clips = _work[number]
    place = calls.places()[calls.TALK_AT[number % len(calls.TALK_AT)]]
    chance = np.random.default_rng(number)
    sounds = []
    for clip in clips:
        samples = clip.samples()
        samples = samples / max(1e-6, float(np.abs(samples).max())) * 0.35
        sounds += [samples, np.zeros(round(GAP_S * RATE))]
    sound = np.concatenate(sounds)
    sound = sound * 32767 + chance.standard_normal(len(sound)) * calls.FAINT
    listener = Listener(_made["ears"]._recogniser)
    listener.listen_for(place.grammar.automaton)
    heard = [
        heard_from(one, 0, 0, place.grammar.automaton.identity, None).model_dump(mode="json")
        for one in listener.utterances(Recording(sound.astype(np.int16)))
        if isinstance(one, Utterance)
    ]
    yield {
        "task": "close talk", "name": f"{who} {number}", "speaker": who, "words": [], "place": place.name,
        "ratio": None, "seconds": len(sound) / RATE, "cpu": 0, "heard": heard,
    }  # fmt: skip


def _read(file: Path) -> Iterable[dict[str, Any]]:
    with gzip.open(file, "rt", encoding="utf-8") as lines:
        return [json.loads(line) for line in lines]


if __name__ == "__main__":
    main()
