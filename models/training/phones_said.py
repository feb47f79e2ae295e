"""Whose speech the network for phones learns from and is tuned on: `python -m models.training.phones_said`.

It writes every utterance of people of both parts, with noises and other talk, as blocks that `phones_heard` reads.
Who belongs to which part stands in `split.tsv`. Speakers are named by collection and name, as "an4 fash".
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import chain, islice
from pathlib import Path

import numpy as np

from handsfree.lexicon.pronunciation import Pronunciations
from models.training import people, recordings
from models.training.sound_store import RATE, Utterance, write_blocks
from models.training.split import Part
from models.training.stops_said import ALONE, CONNECTED

_ROOT = Path(__file__).parents[2]
DATA = Path(__file__).with_name("data") / "phones"
COUNTING, FIGURES = "coswara-counting", "alphanumeric-accents"
COLLECTIONS = frozenset(["an4", "commands", "digits", *CONNECTED, *ALONE, COUNTING, FIGURES])
"""With which the name of a person begins; those of voices begin otherwise."""
SHORTEST_S, LONGEST_S = 0.2, 14.0
_PEAK = 0.5
_MOST_TALK = 400
"""Clips of other talk are enough, for the background."""


def by_people(speech: Path, part: Part) -> Iterator[Utterance]:
    """Yield all that people of a part said and whose words are told, clip by clip."""
    yield from recordings.an4(speech, part)
    yield from recordings.commands(speech, part)
    yield from recordings.digits(speech, part)
    for collection in (*CONNECTED, *ALONE):
        for clip in people.clips(speech, collection, part):
            yield _utterance(clip, clip.words.lower().split())
    for clip in people.clips(speech, COUNTING, part):
        for word, samples in people.counted(clip):
            yield replace(_utterance(clip, [word]), samples=samples)
        yield _utterance(clip, clip.words.split())
    for clip in people.clips(speech, FIGURES, part):
        figures = "".join(clip.words.split())
        if figures.isdecimal():
            yield _utterance(clip, [recordings.DIGITS[int(each)] for each in figures])


def usable(utterances: Iterable[Utterance], pronunciations: Pronunciations) -> Iterator[Utterance]:
    """Yield those of fitting length whose words can all be said, brought to one peak."""
    for one in utterances:
        if SHORTEST_S <= len(one.samples) / RATE <= LONGEST_S and not pronunciations.unknown(one.words):
            yield levelled(one)


def levelled(one: Utterance) -> Utterance:
    """Return the utterance with its loudest sample at half of the scale."""
    peak = max(1e-4, float(np.abs(one.samples).max(initial=0.0)))
    return replace(one, samples=one.samples * np.float32(_PEAK / peak))


def _utterance(clip: people.PersonClip, words: Iterable[str]) -> Utterance:
    return Utterance(clip.samples(), tuple(words), f"{clip.collection} {clip.speaker}")


def main() -> None:
    """Read the command line and write the blocks of both parts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speech", type=Path, default=_ROOT.parent / "shared" / "speech")
    parser.add_argument("--to", type=Path, default=DATA)
    given = parser.parse_args()
    pronunciations = Pronunciations()
    for part in (Part.TRAIN, Part.TUNE):
        said = list(usable(by_people(given.speech, part), pronunciations))
        background = chain(
            recordings.noises(given.speech, part), islice(recordings.other_talk(given.speech, part), _MOST_TALK)
        )
        write_blocks(given.to, f"{part.value}-people", said)
        write_blocks(given.to, f"{part.value}-background", [levelled(one) for one in background])
        hours = sum(len(one.samples) for one in said) / RATE / 3600
        print(
            f"{part.value}: {len(said)} utterances, {hours:.2f} h, of {len({one.speaker for one in said})} people"
        )


if __name__ == "__main__":
    main()
