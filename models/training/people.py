"""The second collection of people's speech (`people`): clips cut out of its blocks, by speaker and part."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

from models.training.sound_store import RATE, Samples
from models.training.split import Part, of_speaker


@dataclass(frozen=True)
class PersonClip:
    """One clip; `words` as its collection writes them."""

    collection: str
    speaker: str
    words: str
    file: Path
    begin: int
    end: int

    @property
    def part(self) -> Part:
        """What it may be used for."""
        who = self.words if self.speaker == "untold" else self.speaker
        return of_speaker(self.collection, who)

    @property
    def name(self) -> str:
        """What tells it from all others."""
        return f"{self.collection} {self.file.stem} {self.begin}"

    @property
    def seconds(self) -> float:
        """How long it is."""
        return (self.end - self.begin) / RATE

    def samples(self) -> Samples:
        """Read its sound."""
        return _block(self.file)[self.begin : self.end].astype(np.float32) / 32768


def clips(speech: Path, collection: str, *parts: Part) -> Iterator[PersonClip]:
    """Yield the clips of a collection in its order, of the parts given or of all."""
    folder = speech / "people" / collection
    with (folder / "clips.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            one = PersonClip(
                collection, row["speaker"], row["words"], folder / row["file"], int(row["begin"]), int(row["end"])
            )
            if not parts or one.part in parts:
                yield one


def counted(clip: PersonClip, least_gap_s: float = 0.15) -> Iterator[tuple[str, Samples]]:
    """Yield the words of a clip that was said with a pause after each, cut at the pauses; none where they differ.

    A pause is what stays 30 dB and more below the loudest for `least_gap_s`.
    """
    sound, words = clip.samples(), clip.words.split()
    window = RATE // 50
    power = np.convolve(sound**2, np.ones(window) / window, mode="same")
    loud = power > power.max() * 1e-3
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loud.astype(np.int8), [0]])))
    stretches: list[list[int]] = []
    for begin, end in edges.reshape(-1, 2):
        if stretches and begin - stretches[-1][1] < least_gap_s * RATE:
            stretches[-1][1] = int(end)
        else:
            stretches.append([int(begin), int(end)])
    stretches = [each for each in stretches if each[1] - each[0] > RATE // 20]
    if len(stretches) != len(words):
        return
    for word, (begin, end) in zip(words, stretches, strict=True):
        edge = round(least_gap_s * RATE / 2)
        yield word, sound[max(0, begin - edge) : end + edge]


@lru_cache(maxsize=4)
def _block(file: Path) -> np.ndarray:
    samples, _ = soundfile.read(file, dtype="int16")
    return np.asarray(samples)
