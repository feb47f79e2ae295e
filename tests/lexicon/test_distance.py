"""Phrases that sound alike are near; those that people confuse are nearer than those they do not."""

import itertools
import math

import pytest

from handsfree.lexicon.distance import phone_distance, phrase_distance, sound_distance
from handsfree.lexicon.pronunciation import PHONES, Pronunciations

WORDS = Pronunciations()


def apart(one: str, other: str) -> float:
    return phrase_distance(one.split(), other.split(), WORDS)


def test_it_is_a_distance():
    for one, other in itertools.product(PHONES, PHONES):
        assert (phone_distance(one, other) == 0) == (one == other)
        assert phone_distance(one, other) == phone_distance(other, one) <= 1


@pytest.mark.parametrize(
    ("near", "far"),
    [
        (("P", "K"), ("P", "B")),  # place is lost first, voicing is kept
        (("P", "T"), ("P", "M")),  # nasality is kept
        (("M", "N"), ("M", "B")),
        (("F", "TH"), ("F", "V")),
        (("V", "DH"), ("V", "M")),
        (("T", "K"), ("T", "S")),  # duration and hiss tell them apart
    ],
)
def test_consonants_are_confused_as_listeners_confuse_them_in_noise(near, far):
    """G. A. Miller and P. E. Nicely, J. Acoust. Soc. Am. 27 (1955) 338-352: voicing and nasality survive
    noise, place of articulation does not (the pairs are from memory of its matrices)."""
    assert phone_distance(*near) < phone_distance(*far)


@pytest.mark.parametrize(
    ("near", "far"),
    [
        (("fifteen", "fifty"), ("fifteen", "forty")),
        (("nineteen", "ninety"), ("nineteen", "seventy")),
        (("five", "nine"), ("five", "six")),
        (("stop work", "stop where"), ("stop work", "carry on")),
        (("no", "go"), ("no", "repeat")),
    ],
)
def test_words_that_radio_operators_tell_apart_on_purpose_are_near(near, far):
    """Five and nine are said "fife" and "niner" on the radio because they sound alike (ICAO Annex 10,
    volume II, 5.2.1.4.3.1); fifteen and fifty likewise by common practice, no source."""
    assert apart(*near) < apart(*far)


def test_the_same_phrase_is_at_distance_nothing_and_order_matters():
    assert apart("hold on", "hold on") == 0
    assert apart("hold on", "on hold") > 0


def test_the_closest_way_to_say_a_word_counts():
    """ "either" may begin as "eye" does."""
    ways = Pronunciations({"eyether": "AY DH ER"})
    assert phrase_distance(["either"], ["eyether"], ways) == 0


def test_a_distance_asked_for_within_a_bound_is_exact_below_it_and_infinite_beyond():
    """Held against the whole distance, for every pair of a handful of phrases and bounds around it."""
    phrases = ("nine", "five", "fifteen", "fifty", "hold on", "stop work", "carry on", "no reading", "either")
    for one, other in itertools.product(phrases, phrases):
        whole = apart(one, other)
        for within in (0.0, whole, whole + 0.001, 1.9, 10.0):
            found = phrase_distance(one.split(), other.split(), WORDS, within)
            assert found == (whole if whole < within else math.inf)


def test_adding_a_sound_costs_less_than_a_whole_word():
    assert sound_distance(("S", "IH", "K", "S"), ("S", "IH", "K", "S", "T")) < apart("six", "six two")
