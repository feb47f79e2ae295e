"""Numbers of other languages: the same rules of four kinds, held against an independent library."""

from __future__ import annotations

import random
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from pydantic import ValidationError
from ruamel.yaml import YAML

from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.catalogue import english_content
from handsfree.lexicon.numbers import NumberForm, Numbers
from handsfree.procedure.languages import english

num2words = pytest.importorskip("num2words", reason="needs num2words, a test dependency").num2words

DATA = Path(__file__).parent / "data"


def content(name: str) -> dict:
    return YAML(typ="safe", pure=True).load(DATA / name)


ENGLISH = english().numbers
GERMAN = Numbers.model_validate(content("german.yaml")["numbers"])
FRENCH = Numbers.model_validate(content("french-numbers.yaml"))


def in_german(text: str) -> str:
    """The library writes all of a numeral as one word; ours parts it after hundreds and thousands."""
    return text.replace("hundert", " hundert ").replace("tausend", " tausend ").lower()


def as_words(text: str) -> str:
    return text.replace("-", " ").replace(",", "").lower()


LANGUAGES = [
    pytest.param(ENGLISH, "en", as_words, id="english"),
    pytest.param(GERMAN, "de", in_german, id="german"),
    pytest.param(FRENCH, "fr", as_words, id="french"),
]


def whole(low: int, high: int) -> NumberForm:
    return NumberForm(Decimal(low), Decimal(high), 0, 0)


@pytest.mark.parametrize(("numbers", "code", "words"), LANGUAGES)
def test_whole_numbers_are_read_as_num2words_writes_them(
    numbers: Numbers, code: str, words: Callable[[str], str]
) -> None:
    """Against num2words: every number to 999, and every seventh to 9999, each with one meaning."""
    form = whole(0, 9999)
    automaton = numbers.pattern(form).automaton()
    for number in [*range(1000), *range(1000, 10_000, 7)]:
        said = words(num2words(number, lang=code)).split()
        assert numbers.read(said, form) == {Decimal(number)}, said
        assert automaton.accepts(said)


@pytest.mark.parametrize(("numbers", "code", "words"), LANGUAGES)
def test_tenths_are_read_as_num2words_writes_them(
    numbers: Numbers, code: str, words: Callable[[str], str]
) -> None:
    """Against num2words, minus included; it drops zeros at the end and the minus between -1 and 0."""
    form = NumberForm(Decimal(-30), Decimal(30), 1, 1)
    for tenths in [*range(-300, -9), *range(301)]:
        if tenths % 10:
            value = Decimal(tenths).scaleb(-1)
            assert {str(known) for known in numbers.read(words(num2words(value, lang=code)).split(), form)} == {
                str(value)
            }


def sentence(automaton: WordAutomaton, choose: random.Random) -> list[str]:
    arcs: dict[int, list[tuple[str, int]]] = {}
    for source, word, target in automaton.arcs:
        arcs.setdefault(source, []).append((word, target))
    state, said = 0, []
    while state not in automaton.finals or (state in arcs and choose.random() < 0.7):
        word, state = choose.choice(arcs[state])
        said.append(word)
    return said


@pytest.mark.parametrize("numbers", [GERMAN, FRENCH], ids=["german", "french"])
@pytest.mark.parametrize(("low", "high", "decimals", "most"), [(0, 9999, 0, 0), (-5, 25, 1, 2), (0, 5, 2, 2)])
def test_what_is_listened_for_is_understood_and_read_back(
    numbers: Numbers, low: int, high: int, decimals: int, most: int
) -> None:
    """Every sentence of the language has a meaning in range, and the tool's own read-back means the same."""
    form, choose = NumberForm(Decimal(low), Decimal(high), decimals, most), random.Random(7)
    automaton = numbers.pattern(form).automaton()
    for _ in range(400):
        values = numbers.read(sentence(automaton, choose), form)
        assert values
        for value in values:
            assert value in form
            said = numbers.digits(value).split()
            exact = NumberForm(value, value, *[-int(value.as_tuple().exponent)] * 2)
            assert automaton.accepts(said) or not form.shows(value)
            assert str(value) in {str(known) for known in numbers.read(said, exact)}


@pytest.mark.parametrize(
    ("numbers", "words", "low", "high", "decimals", "values"),
    [
        # Common knowledge, no source.
        (GERMAN, "drei komma eins", "0", "21", 1, {"3.1"}),
        (GERMAN, "neun komma drei null", "0", "21", 2, {"9.30"}),
        (GERMAN, "neun komma dreißig", "0", "21", 2, {"9.30"}),
        (GERMAN, "minus null komma null fünf", "-5", "5", 2, {"-0.05"}),
        (GERMAN, "einundzwanzig", "0", "99", 0, {"21"}),
        (GERMAN, "ein und zwanzig", "0", "99", 0, {"21"}),
        (GERMAN, "zwanzig eins", "0", "99", 0, set()),
        (GERMAN, "eins zwo null", "0", "999", 0, {"120"}),
        (GERMAN, "hundert fünf", "0", "999", 0, {"105"}),
        (GERMAN, "neun drei", "0", "21", 1, set()),
        (FRENCH, "quatre vingt dix sept", "0", "999", 0, {"97"}),
        (FRENCH, "soixante et onze", "0", "999", 0, {"71"}),
        (FRENCH, "neuf virgule trente", "0", "21", 2, {"9.30"}),
        (FRENCH, "vingt un", "0", "999", 0, set()),
        (FRENCH, "quatre cent vingts", "0", "999", 0, set()),
    ],
)
def test_numbers_are_read_as_people_say_them(
    numbers: Numbers, words: str, low: str, high: str, decimals: int, values: set[str]
) -> None:
    form = NumberForm(Decimal(low), Decimal(high), decimals, decimals)
    assert {str(value) for value in numbers.read(words.split(), form)} == values
    assert numbers.pattern(form).automaton().accepts(words.split()) == bool(values)


@pytest.mark.parametrize(
    ("numbers", "value", "apart"),
    [
        (GERMAN, "15", True),
        (GERMAN, "50", True),
        (GERMAN, "115", True),
        (GERMAN, "9.3", False),
        (GERMAN, "21", False),
        (FRENCH, "13", True),
        (FRENCH, "30", True),
        (FRENCH, "16", True),
        (FRENCH, "97", False),
        (FRENCH, "20", False),
    ],
)
def test_words_with_a_twin_are_asked_digit_by_digit(numbers: Numbers, value: str, *, apart: bool) -> None:
    """Fünfzehn and fünfzig, treize and trente; 97 is "quatre vingt dix sept" and has none that we name."""
    assert numbers.ask_apart(Decimal(value)) == apart


@pytest.mark.parametrize(
    ("numbers", "typed", "words"),
    [
        (ENGLISH, "-9.3", "minus nine point three"),
        (GERMAN, "-9,3", "minus neun komma drei"),
        (GERMAN, "9.3", "neun komma drei"),
        (ENGLISH, "nine", None),
        (ENGLISH, "9,3", None),
        (ENGLISH, "", None),
    ],
)
def test_typed_numbers_are_read_with_the_languages_own_point(
    numbers: Numbers, typed: str, words: str | None
) -> None:
    found = numbers.typed(typed)
    assert (found and " ".join(found)) == words


def damaged(**changes: object) -> dict:
    numbers = dict(english_content()["numbers"])
    rules = {**numbers["rules"], **changes.pop("rules", {})}  # type: ignore[dict-item]
    return {**numbers, "rules": rules, **changes}


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (damaged(rules={"digit": ["zero", "unt"]}), "names 'unt', which is no rule"),
        (damaged(rules={"unit": ["digit"]}), "is made of itself"),
        (damaged(rules={"round-tens": {"head": "tens", "times": 10, "tail": "teens"}}), "must be below 10"),
        (damaged(rules={"many": {"head": "whole", "times": 1000, "one-word": True}}), "as one word each"),
        (damaged(rules={"digit": ["zero", "two-digits"]}), "must consist of names"),
        (damaged(rules={"unit": {"one": 1}}), "does not hear"),
        (damaged(rules={"unit": "one two"}), "a rule is names"),
        (damaged(points=["decimal"]), "a point or a sign that is not heard"),
        (damaged(whole="everything"), "there is no rule 'everything'"),
        (damaged(pointless=[{"before": "nobody", "after": "fraction"}]), "there is no rule 'nobody'"),
    ],
)
def test_rules_that_cannot_be_meant_are_told_by_name(content: dict, told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        Numbers.model_validate(content)
