"""Words are said as the CMU dictionary says, or as the procedure spells them."""

import pytest

from handsfree.lexicon.pronunciation import PHONES, Pronunciations, _dictionary
from handsfree.problem import Problem


def test_the_phones_are_those_of_the_dictionary():
    """39 phones, as the CMU Pronouncing Dictionary's own page lists them (from memory)."""
    assert len(PHONES) == 39


@pytest.mark.parametrize(
    ("word", "phones"),
    [("nine", "N AY N"), ("point", "P OY N T"), ("percent", "P ER S EH N T"), ("Zero", "Z IH R OW")],
)
def test_known_words_are_said_as_the_dictionary_says(word, phones):
    assert tuple(phones.split()) in Pronunciations().of(word)


def test_a_word_may_be_said_in_several_ways():
    assert set(Pronunciations().of("zero")) == {("Z", "IH", "R", "OW"), ("Z", "IY", "R", "OW")}


def test_every_phone_of_the_dictionary_is_known():
    lines = _dictionary().decode().splitlines()
    assert {phone for line in lines for phone in line.split()[1:]} == set(PHONES)


def test_every_way_that_the_dictionary_lists_is_found_in_its_order():
    """Against the lines of its own file, every 97th and both ends."""
    listed: dict[str, list[tuple[str, ...]]] = {}
    for word, *phones in map(str.split, _dictionary().decode().splitlines()):
        listed.setdefault(word.partition("(")[0], []).append(tuple(phones))
    words = list(listed)
    for word in {*words[::97], words[0], words[-1]}:
        assert Pronunciations().of(word) == tuple(dict.fromkeys(listed[word]))
    assert Pronunciations().of("zero(2)") == ()


def test_a_spelled_out_word_is_said_as_spelled_only():
    assert Pronunciations({"either": "AY DH ER"}).of("either") == (("AY", "DH", "ER"),)


def test_unknown_words_are_named_all_at_once_with_the_nearest_known_ones():
    with pytest.raises(Problem, match=r"'isolatted' \(near: [^)]*isolated[^)]*\), 'qqqq'; use another word"):
        Pronunciations().require(["isolatted", "nine", "qqqq"])


def test_wrong_spellings_are_named_all_at_once():
    with pytest.raises(Problem, match=r"'trvb' \(Q\), 'x' \(nothing\)"):
        Pronunciations({"trvb": "T R Q", "x": " ", "fine": "F AY N"})
