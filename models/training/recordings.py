"""Recordings of people: read, checked, and cut at the borders of words: `python -m models.training.recordings`.

The folder of recordings (`../shared/speech` beside the repository unless told) is described by its own
SOURCES.md. An existing model finds the borders of words in connected speech, so that new sequences can be
joined from one speaker's words; it also tells clips that do not hold the word they are named after.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from handsfree.hearing.recogniser import Recogniser
from handsfree.lexicon.automaton import phrase, phrases
from models.training.sound_store import RATE, Samples, Utterance, write_blocks
from models.training.split import Part, of_noise, of_other_talk, of_speaker

_ROOT = Path(__file__).parents[2]
DATA = Path(__file__).with_name("data")
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
_COMMANDS = ("one", "five", "eight", "zero", "go", "up", "down", "left", "right")
_EARLIER, _LATER = round(0.12 * RATE), round(0.03 * RATE)
_NEARLY = -6
"""How far behind the best, as a natural logarithm, the word of a clip may be."""


def an4(speech: Path, part: Part, ears: Recogniser | None = None) -> Iterator[Utterance]:
    """Yield connected letters, numbers and words of AN4's training part; with `ears` also where to cut them."""
    for row in rows(speech / "an4" / "train.tsv"):
        if of_speaker("an4", row["speaker"]) is part:
            samples = read(speech / "an4" / "train" / f"{row['file']}.flac")
            words = tuple(row["words"].split())
            cuts = None if ears is None else borders(ears, samples, words)
            yield Utterance(samples, words, f"an4 {row['speaker']}", cuts=cuts)


def commands(speech: Path, part: Part, ears: Recogniser | None = None) -> Iterator[Utterance]:
    """Yield single words of many speakers; with `ears` only those in which it hears the word, or nearly.

    Some clips are cut or hold another word; but what today's ears just miss is what the next must learn.
    """
    grammar = phrases(_COMMANDS).automaton()
    for word in _COMMANDS:
        for file in sorted((speech / "commands" / word).glob("*.ogg")):
            speaker = file.stem.split("_")[0]
            if of_speaker("commands", speaker) is not part:
                continue
            samples = read(file)
            if ears is None or any(
                one.text == (word,) and one.score >= _NEARLY for one in ears.recognise(pcm(samples), grammar)
            ):
                yield Utterance(samples, (word,), f"commands {speaker}")


def digits(speech: Path, part: Part) -> Iterator[Utterance]:
    """Yield single digits of a few speakers, of telephone bandwidth."""
    for file in sorted((speech / "digits").glob("*.flac")):
        digit, speaker, _ = file.stem.split("_")
        if of_speaker("digits", speaker) is part:
            yield Utterance(read(file), (DIGITS[int(digit)],), f"digits {speaker}")


def other_talk(speech: Path, part: Part) -> Iterator[Utterance]:
    """Yield speech that is not for the tool, without words."""
    for kind in ("orders", "words"):
        for file in sorted((speech / "other-talk" / kind).glob("*.ogg")):
            if of_other_talk(f"{kind}/{file.stem}") is part:
                yield Utterance(read(file), (), f"other-talk {kind}")


def noises(speech: Path, part: Part) -> Iterator[Utterance]:
    """Yield recordings of noise."""
    for file in sorted((speech / "noise").iterdir()):
        if of_noise(file.stem) is part:
            yield Utterance(read(file), (), f"noise {file.stem}")


def borders(ears: Recogniser, samples: Samples, words: tuple[str, ...]) -> tuple[int, ...] | None:
    """Return the sample numbers between which each word stands, at the quietest places; None if unsure."""
    heard = ears.recognise(pcm(samples), phrase(" ".join(words)).automaton())
    if not heard or heard[0].text != words:
        return None
    loudness = np.convolve(samples**2, np.ones(RATE // 50) / (RATE // 50), mode="same")
    cuts = []
    for word in heard[0].words:
        at = word.start_ms * RATE // 1000
        first = max(0, at - _EARLIER, *(cut + RATE // 20 for cut in cuts[-1:]))
        window = loudness[first : at + _LATER]
        cuts.append(first + int(window.argmin()) if len(window) else at)
    end = heard[0].words[-1].end_ms * RATE // 1000 + _EARLIER
    return (*cuts, min(len(samples), max(end, cuts[-1] + RATE // 10)))


def rows(listing: Path) -> list[dict[str, str]]:
    """Read a table of tab-separated values."""
    with listing.open(encoding="utf-8") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def read(file: Path) -> Samples:
    """Read sound as one channel at 16 kHz; `ValueError` for a rate that does not divide evenly."""
    samples, rate = soundfile.read(file, dtype="float32", always_2d=True)
    mono = samples.mean(axis=1)
    if rate == RATE:
        return np.asarray(mono, dtype=np.float32)
    if rate not in {8_000, 24_000, 32_000, 44_100, 48_000}:
        raise ValueError(f"{file}: {rate} samples a second is no rate that is expected here")
    common = int(np.gcd(rate, RATE))
    return np.asarray(resample_poly(mono, RATE // common, rate // common), dtype=np.float32)


def pcm(samples: Samples) -> bytes:
    """Return the bytes that a recogniser takes."""
    return (np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes()


def main() -> None:
    """Read the command line and write the blocks of people and noise."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speech", type=Path, default=_ROOT.parent / "shared" / "speech")
    parser.add_argument(
        "--model", type=Path, default=_ROOT / "models" / "english", help="finds the borders of words"
    )
    parser.add_argument("--to", type=Path, default=DATA / "people")
    given = parser.parse_args()
    lacking = [
        name for name in ("an4", "commands", "digits", "other-talk", "noise") if not (given.speech / name).is_dir()
    ]
    if lacking:
        sys.exit(f"{given.speech} lacks {', '.join(lacking)}: see its SOURCES.md")
    ears = Recogniser(given.model)
    for part in (Part.TRAIN, Part.TUNE):
        collections = {
            "an4": an4(given.speech, part, ears),
            "commands": commands(given.speech, part, ears if part is Part.TRAIN else None),
            "digits": digits(given.speech, part),
            "other-talk": other_talk(given.speech, part),
            "noise": noises(given.speech, part),
        }
        for name, utterances in collections.items():
            listed = list(utterances)
            write_blocks(given.to, f"{part.value}-{name}", listed)
            cut = sum(one.cuts is not None for one in listed)
            speakers = len({one.speaker for one in listed})
            print(
                f"{part.value} {name}: {len(listed)} utterances, {speakers} speakers, {cut} cut into words",
                flush=True,
            )


if __name__ == "__main__":
    main()
