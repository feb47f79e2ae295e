"""Phrases that sound almost like a given one, by the pronouncing dictionary: used to try the proof of sounds."""

from __future__ import annotations

from functools import cache

from handsfree.lexicon.distance import sound_distance
from handsfree.lexicon.pronunciation import Phones, Pronunciations

NEAR = 0.9
"""Phones; at most one sound is changed or lost."""


@cache
def _words_by_start() -> dict[str, list[tuple[str, Phones]]]:
    from handsfree.lexicon.pronunciation import _dictionary  # noqa: PLC0415 - the list of all words

    found: dict[str, list[tuple[str, Phones]]] = {}
    for word, *phones in map(str.split, _dictionary().decode().splitlines()):
        if word.isalpha() and word.islower():
            found.setdefault(word[0], []).append((word, tuple(phones)))
    return found


@cache
def near_homophone(phrase: str) -> str | None:
    """Return the phrase with its longest word replaced by one that sounds nearest; None when there is none."""
    words = phrase.split()
    longest = max(words, key=len)
    ways = Pronunciations().of(longest)
    if not ways:
        return None
    best: tuple[float, str] | None = None
    for word, phones in _words_by_start().get(longest[0], ()):
        if word == longest or phones in ways or abs(len(phones) - len(ways[0])) > 1:
            continue
        apart = min(sound_distance(way, phones) for way in ways)
        if 0 < apart <= NEAR and (best is None or apart < best[0]):
            best = (apart, word)
    return None if best is None else " ".join(best[1] if word == longest else word for word in words)
