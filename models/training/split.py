"""Who is learned from, who is tuned on, and who is kept for the last test: by speaker, as `split.tsv` lists them.

The list was drawn by the hash of each name before the first training, and no network's figures may change it.
`an4/test` belongs to no part here: it is neither trained on nor tuned to, but it was looked at while the third
opinion was tried, so it says nothing of that. Wake words do not tell their speakers: each word is one. The British
words are of four speakers whom no network is taught by. The bench reads the same list.
"""

from __future__ import annotations

import csv
import hashlib
from enum import Enum
from functools import cache
from pathlib import Path
from typing import Final


class Part(Enum):
    """What a speaker's sound may be used for."""

    TRAIN = "train"
    TUNE = "tune"
    FINAL = "final"


_LISTING: Final = Path(__file__).with_name("split.tsv")
_TRAIN_NOISES: Final = frozenset(
    [
        "boat",
        "wind",
        "coffee-shop",
        "room-bg_noise",
        "room-bg_noise2",
        "room-bg_noise3",
        "room-bg_noise4",
        "room-bg_noise5",
    ]
)
_TUNE_NOISES: Final = frozenset(["boiler00-synthetic", "city", "room-bg_noise6"])


def of_speaker(collection: str, speaker: str) -> Part:
    """Return the part of a speaker: as `split.tsv` lists them, else the last test.

    Some speakers of each collection are kept elsewhere, so who is not listed was never learned from.
    """
    return _listed().get((collection, speaker), Part.FINAL)


@cache
def _listed() -> dict[tuple[str, str], Part]:
    with _LISTING.open(encoding="utf-8") as file:
        return {
            (row["collection"], speaker): Part(row["part"])
            for row in csv.DictReader(file, delimiter="\t")
            for speaker in row["speakers"].split(", ")
        }


def of_other_talk(name: str) -> Part:
    """Return the part of a clip of other talk, whose speakers are not told: a third each."""
    return (Part.TRAIN, Part.TUNE, Part.FINAL)[_place(f"other-talk {name}") % 3]


def of_noise(name: str) -> Part:
    """Return the part of a recording of noise."""
    return Part.TRAIN if name in _TRAIN_NOISES else Part.TUNE if name in _TUNE_NOISES else Part.FINAL


def _place(name: str) -> int:
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:4], "big") % 100
