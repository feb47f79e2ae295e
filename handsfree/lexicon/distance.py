"""How alike two words or phrases sound: an edit distance over phones.

The cost of taking one phone for another comes from the features of articulation that the International
Phonetic Association's chart names: manner, place and voicing for consonants; height, backness, rounding and
glide for vowels. A distance of 1 is one phone heard as an unrelated one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache
from itertools import accumulate
from typing import Final

from handsfree.lexicon.pronunciation import PHONES, Phones, Pronunciations

# manner, place from the lips (0) to the throat (6), voiced
_CONSONANTS: Final = {
    "P": ("stop", 0.0, False), "B": ("stop", 0.0, True), "T": ("stop", 3.0, False), "D": ("stop", 3.0, True),
    "K": ("stop", 5.0, False), "G": ("stop", 5.0, True), "M": ("nasal", 0.0, True), "N": ("nasal", 3.0, True),
    "NG": ("nasal", 5.0, True), "F": ("fricative", 1.0, False), "V": ("fricative", 1.0, True),
    "TH": ("fricative", 2.0, False), "DH": ("fricative", 2.0, True), "S": ("fricative", 3.0, False),
    "Z": ("fricative", 3.0, True), "SH": ("fricative", 4.0, False), "ZH": ("fricative", 4.0, True),
    "HH": ("fricative", 6.0, False), "CH": ("affricate", 4.0, False), "JH": ("affricate", 4.0, True),
    "L": ("glide", 3.0, True), "R": ("glide", 3.5, True), "W": ("glide", 0.0, True), "Y": ("glide", 4.5, True),
}  # fmt: skip
# openness (0 close, 1 open), backness (0 front, 1 back), rounded, and the same where a diphthong ends
_VOWELS: Final = {
    "IY": (0.0, 0.0, 0, 0.0, 0.0), "IH": (0.2, 0.2, 0, 0.2, 0.2), "EH": (0.6, 0.0, 0, 0.6, 0.0),
    "AE": (0.85, 0.0, 0, 0.85, 0.0), "AA": (1.0, 1.0, 0, 1.0, 1.0), "AO": (0.6, 1.0, 1, 0.6, 1.0),
    "AH": (0.6, 0.6, 0, 0.6, 0.6), "UH": (0.2, 0.8, 1, 0.2, 0.8), "UW": (0.0, 1.0, 1, 0.0, 1.0),
    "ER": (0.5, 0.5, 0, 0.4, 0.5), "EY": (0.4, 0.0, 0, 0.1, 0.1), "AY": (1.0, 0.4, 0, 0.1, 0.1),
    "OY": (0.6, 1.0, 1, 0.1, 0.1), "AW": (1.0, 0.4, 0, 0.2, 0.9), "OW": (0.4, 1.0, 1, 0.1, 1.0),
}  # fmt: skip
_MANNER_COST: Final = 0.5
_VOICE_COST: Final = 0.35
_PLACE_COST: Final = 0.05
_KIND_COST: Final = 1.0
_LOST_CONSONANT: Final = 0.7
_LOST_VOWEL: Final = 0.9


@cache
def phone_distance(one: str, other: str) -> float:
    """Return how unlike two phones are, from 0 (the same) to 1 (unrelated)."""
    if one == other:
        return 0.0
    if one in _CONSONANTS and other in _CONSONANTS:
        manner, place, voiced = _CONSONANTS[one]
        manner_2, place_2, voiced_2 = _CONSONANTS[other]
        cost = _PLACE_COST * abs(place - place_2)
        cost += _MANNER_COST * (manner != manner_2) + _VOICE_COST * (voiced != voiced_2)
        return min(1.0, 0.1 + cost)
    if one in _VOWELS and other in _VOWELS:
        a, b = _VOWELS[one], _VOWELS[other]
        return min(1.0, 0.1 + sum(abs(x - y) for x, y in zip(a, b, strict=True)) / 2.5)
    return _KIND_COST


@cache
def lost(phone: str) -> float:
    """Return the cost of a phone that is heard as nothing, or out of nothing."""
    return _LOST_VOWEL if phone in _VOWELS else _LOST_CONSONANT


@cache
def _distances(phone: str) -> Mapping[str, float]:
    """Return the distance of a phone from each phone there is."""
    return {other: phone_distance(phone, other) for other in PHONES}


def sound_distance(one: Phones, other: Phones, within: float = math.inf) -> float:
    """Return the least cost of turning one chain of phones into the other; 0 when they are the same.

    What is not below `within` is told as infinite, and costs less to find.
    """
    losses = [lost(phone) for phone in other]
    row = list(accumulate(losses, initial=0.0))
    for mine in one:
        loss, apart = lost(mine), _distances(mine)
        above, row = row, [row[0] + loss]
        for column, theirs in enumerate(other):
            row.append(min(above[column] + apart[theirs], above[column + 1] + loss, row[column] + losses[column]))
        if min(row) >= within:  # no cost is below 0, so that no later row falls under this one
            return math.inf
    return row[-1] if row[-1] < within else math.inf


def phrase_distance(
    one: Sequence[str], other: Sequence[str], pronunciations: Pronunciations, within: float = math.inf
) -> float:
    """Return the distance of two phrases, each word said in the way that brings them closest.

    What is not below `within` is told as infinite. Raises `Problem` naming the words without a pronunciation.
    Beyond 64 ways to say a phrase only the first 64 are tried.
    """
    pronunciations.require((*one, *other))
    return min(
        sound_distance(mine, theirs, within)
        for mine in _ways(one, pronunciations)
        for theirs in _ways(other, pronunciations)
    )


def _ways(words: Sequence[str], pronunciations: Pronunciations) -> list[Phones]:
    ways: list[Phones] = [()]
    for word in words:
        ways = [(*so_far, *phones) for so_far in ways for phones in pronunciations.of(word)][:64]
    return ways
