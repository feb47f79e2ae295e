"""Proposed pronunciations, held against the CMU pronouncing dictionary for words that it has."""

from __future__ import annotations

import random

import pytest

from handsfree.lexicon.distance import sound_distance
from handsfree.lexicon.pronunciation import PHONES, Pronunciations, _dictionary
from handsfree.lexicon.proposing import proposed

KNOWN = Pronunciations()
LIKE = [
    ("backdraught", "B AE K D R AE F T"),  # of two words that the dictionary has
    ("flowswitch", "F L OW S W IH CH"),
    ("lockshield", "L AA K SH IY L D"),
    ("manifolds", "M AE N AH F OW L D Z"),
    ("pcb", "P IY S IY B IY"),  # letter by letter
    ("purgeless", "P ER JH L AH S"),
]


@pytest.mark.parametrize(("word", "wanted"), LIKE)
def test_a_new_word_is_put_together_from_what_is_known(word: str, wanted: str) -> None:
    assert wanted in proposed(word, KNOWN)


@pytest.mark.parametrize(
    ("word", "end"),
    [("latched", ("T",)), ("vented", ("IH", "D")), ("purged", ("D",)), ("valves", ("Z",)), ("gaskets", ("S",)),
     ("wrenches", ("IH", "Z"))],
)  # fmt: skip
def test_endings_follow_the_last_sound_of_the_stem_as_in_the_dictionary(word: str, end: tuple[str, ...]) -> None:
    assert KNOWN.of(word)[0][-len(end) :] == end
    assert any(tuple(way.split())[-len(end) :] == end for way in proposed(word, KNOWN))


def _words() -> list[str]:
    return [line.split()[0] for line in _dictionary().decode().splitlines()]


def test_words_of_the_dictionary_are_proposed_nearly_as_they_stand_there() -> None:
    """400 words of it, drawn by lot, none looked up whole: a fifth of a phone off for each phone, at the most."""
    every = sorted(word for word in _words() if word.isalpha() and 4 <= len(word) <= 10)
    off = []
    for word in random.Random(5).sample(every, 400):
        right = KNOWN.of(word)
        best = min(sound_distance(tuple(way.split()), one) for way in proposed(word, KNOWN) for one in right)
        off.append(best / len(right[0]))
    assert sum(off) / len(off) < 0.2
    assert sum(one == 0 for one in off) > 120


@pytest.mark.parametrize("word", ["x", "zzz", "aeiou", "rhythm", "o'clock", "qqqq", "e", "tttttt"])
def test_any_letters_give_phones_that_are_known(word: str) -> None:
    ways = proposed(word, KNOWN)
    assert all(phone in PHONES for way in ways for phone in way.split())
    assert len(set(ways)) == len(ways)
