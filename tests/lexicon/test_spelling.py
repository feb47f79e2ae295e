"""Serial numbers by spelling alphabet."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.procedure.languages import english

SPELLING = english().spelling
pattern, read, read_back, SIGN_OF = SPELLING.pattern, SPELLING.read, SPELLING.read_back, SPELLING.sign_of
ALPHABET = [word for sign, word in SPELLING.said.items() if sign.isalpha()]

# ICAO Annex 10 volume II, 5.2.1.3 (spelling alphabet), typed from memory.
ICAO = (
    "Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar Papa "
    "Quebec Romeo Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu"
)
AUTOMATON = pattern().automaton()


def test_the_alphabet_is_icaos_from_a_to_z() -> None:
    assert list(ALPHABET) == ICAO.lower().replace("-", "").split()
    assert read(ALPHABET) == "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@pytest.mark.parametrize(
    ("words", "serial"),
    [
        ("alfa bravo one two dash three", "AB12-3"),
        ("alpha juliet whisky x ray niner", "AJWX9"),
        ("zero slash xray", "0/X"),
    ],
)
def test_a_serial_number_is_read_sign_by_sign(words: str, serial: str) -> None:
    assert read(words.split()) == serial
    assert AUTOMATON.accepts(words.split())


@pytest.mark.parametrize("words", ["", "oh", "a b c", "x", "ray", "alfa x", "alfa [unk]", "twelve", "alfa twenty"])
def test_words_outside_the_alphabet_spell_nothing(words: str) -> None:
    """ "Oh" too: it could be the letter or the digit, so it is asked again."""
    assert read(words.split()) == ""
    assert not AUTOMATON.accepts(words.split())


def test_a_serial_number_is_read_back_in_groups_of_three() -> None:
    assert read_back("AB12-3X") == "alfa bravo one, two dash three, xray"


@given(st.text(alphabet=sorted(set(SIGN_OF.values())), min_size=1, max_size=20))
def test_what_is_read_back_spells_the_same_serial_number(serial: str) -> None:
    words = read_back(serial).replace(",", "").split()
    assert read(words) == serial
    assert AUTOMATON.accepts(words)


@given(st.lists(st.sampled_from([*" ".join(SIGN_OF).split(), "oh"]), max_size=8))
def test_words_spell_something_exactly_when_the_pattern_accepts_them(words: list[str]) -> None:
    assert bool(read(words)) == AUTOMATON.accepts(words)
