"""Who is learned from, who is tuned on, and who is kept for the last test: by speaker, decided by name alone.

`an4/test` belongs to no part here: it is neither trained on nor tuned to, but it was looked at while the third
opinion was tried, so it says nothing of that. Wake words do not tell their speakers: each word is one. The bench
uses the same rule.
"""

from __future__ import annotations

import hashlib
from enum import Enum
from typing import Final


class Part(Enum):
    """What a speaker's sound may be used for."""

    TRAIN = "train"
    TUNE = "tune"
    FINAL = "final"


_FINAL_PERCENT: Final = 10
_TUNE_PERCENT: Final = 8
_DIGIT_SPEAKERS: Final = {"s5": Part.TUNE, "s6": Part.FINAL}
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
    """Return the part of a speaker of `an4`, `commands` or `digits`."""
    if collection == "digits":
        return _DIGIT_SPEAKERS.get(speaker, Part.TRAIN)
    place = _place(f"{collection} {speaker}")
    if place < _FINAL_PERCENT:
        return Part.FINAL
    return Part.TUNE if place < _FINAL_PERCENT + _TUNE_PERCENT else Part.TRAIN


_OF_PEOPLE: Final = ((Part.FINAL, 30), (Part.TUNE, 20))
"""Percent of the speakers of `people` in each part; the rest may be trained on, which no network has been yet."""


def of_person(collection: str, speaker: str) -> Part:
    """Return the part of a speaker of one of the collections in `people`."""
    place = _place(f"people {collection} {speaker}")
    for part, percent in _OF_PEOPLE:
        if place < percent:
            return part
        place -= percent
    return Part.TRAIN


def of_other_talk(name: str) -> Part:
    """Return the part of a clip of other talk, whose speakers are not told: a third each."""
    return (Part.TRAIN, Part.TUNE, Part.FINAL)[_place(f"other-talk {name}") % 3]


def of_noise(name: str) -> Part:
    """Return the part of a recording of noise."""
    return Part.TRAIN if name in _TRAIN_NOISES else Part.TUNE if name in _TUNE_NOISES else Part.FINAL


def _place(name: str) -> int:
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:4], "big") % 100
