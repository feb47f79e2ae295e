"""Each "stop" of people, cut out, and words near it by voices: `python -m models.training.stops_said`.

It writes what `models.training.spotter` learns from, and knows what that is judged by. Our recogniser finds the
word in connected talk. Who is learned from, tuned on and kept for the last test stands in `split.tsv`.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from handsfree.hearing.recogniser import Recogniser
from handsfree.problem import Problem
from models.training import people, recordings, voices
from models.training.sound_store import RATE, Samples, Utterance, trimmed, write_block
from models.training.split import Part, of_speaker

_ROOT = Path(__file__).parents[2]
DATA = Path(__file__).with_name("data") / "spotter"
WORD = "stop"
NEIGHBOURS = (
    "step", "shop", "top", "start", "stock", "stuff", "snow", "smell", "spot", "drop", "stove", "stand", "store",
    "stay", "star", "chop", "hop", "pop", "still", "steel", "scope", "soap", "staff", "slope", "up", "hot",
)  # fmt: skip
ALONE = ("speech-commands-bed-cat-happy", "british-words-confusion-corpus", "wake-words")
CONNECTED = ("librispeech-test-clean", "speechocean762")


def bare(speech: Path, part: Part) -> list[Utterance]:
    """Return each "stop" that a person of a part said alone."""
    found = []
    for listing in ("train", "test"):
        for row in recordings.rows(speech / "an4" / f"{listing}.tsv"):
            file = speech / "an4" / listing / f"{row['file']}.flac"
            if row["words"] == WORD and of_speaker("an4", row["speaker"]) is part and file.is_file():
                found.append(Utterance(recordings.read(file), (WORD,), f"an4 {row['speaker']}"))
    for clip in people.clips(speech, "british-words-confusion-corpus", part):
        if clip.words == WORD:
            found += [Utterance(clip.samples(), (WORD,), f"british {clip.speaker}")]
    return found


def in_talk(speech: Path, ears: Recogniser) -> list[Utterance]:
    """Return each "stop" in a sentence of those who may be learned from, where our recogniser finds it."""
    found = []
    for collection in CONNECTED:
        for clip in people.clips(speech, collection, Part.TRAIN):
            words = tuple(clip.words.lower().split())
            if WORD not in words:
                continue
            try:
                cuts = recordings.borders(ears, clip.samples(), words)
            except Problem:  # a name that no dictionary holds
                continue
            if cuts:
                at = words.index(WORD)
                sound = clip.samples()[cuts[at] : cuts[at + 1]]
                found.append(Utterance(sound, (WORD,), f"{collection} {clip.speaker}"))
    return found


def by_voices(each: int) -> list[Utterance]:
    """Return so many words of each speech engine that is installed, half of them "stop"."""
    chance = random.Random(21)
    found: list[Utterance] = []
    for engine in (voices.espeak, voices.flite, voices.nano, voices.festival):
        try:
            for number in range(each):
                word = WORD if number % 2 else chance.choice(NEIGHBOURS)
                samples, _, speaker = engine((word,), chance)
                if len(cut := trimmed(samples)):
                    found.append(Utterance(cut, (word,), speaker))
        except (OSError, ImportError) as error:
            print(f"{engine.__name__} is left out: {error}", file=sys.stderr)
    return found


def talk(speech: Path, collections: Sequence[str], part: Part) -> list[people.PersonClip]:
    """Return the clips of what holds no "stop", as far as their blocks are there."""
    return [
        clip
        for collection in collections
        if (speech / "people" / collection).is_dir()
        for clip in people.clips(speech, collection, part)
        if WORD not in clip.words.lower() and clip.file.is_file()
    ]


def over_noise(sound: Samples, noise: Samples, ratio: float | None) -> Samples:
    """Return a clip with half a second around it, so many dB over a noise by their mean power."""
    padded = np.pad(sound / max(1e-6, float(np.abs(sound).max())) * 0.3, RATE // 2)
    if ratio is None:
        return padded.astype(np.float32)
    under = np.resize(noise, len(padded))
    loud = np.sqrt(np.mean(padded[RATE // 2 : -RATE // 2] ** 2)) * 10 ** (-ratio / 20)
    return (padded + under / np.sqrt(np.mean(under**2) + 1e-12) * loud).astype(np.float32)


def threshold(odds: Iterable[float], hours: float, an_hour: float) -> float:
    """Return the log odds above which at most so many an hour lie; `odds` are of clips that hold no "stop"."""
    ordered = sorted(odds, reverse=True)
    return ordered[min(int(an_hour * hours), len(ordered) - 1)]


def main() -> None:
    """Read the command line and write two blocks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speech", type=Path, default=_ROOT.parent / "shared" / "speech")
    parser.add_argument("--to", type=Path, default=DATA)
    parser.add_argument("--each", type=int, default=400, help="words of each speech engine")
    given = parser.parse_args()
    said = [Utterance(trimmed(one.samples), one.words, one.speaker) for one in bare(given.speech, Part.TRAIN)]
    said += in_talk(given.speech, Recogniser(_ROOT / "models" / "english"))
    spoken = by_voices(given.each)
    write_block(given.to / "people.flac", said)
    write_block(given.to / "voices.flac", spoken)
    print(f"{len(said)} by {len({one.speaker for one in said})} people, {len(spoken)} by voices in {given.to}")


if __name__ == "__main__":
    main()
