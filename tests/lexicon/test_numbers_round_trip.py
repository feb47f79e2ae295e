"""Number reader: both directions agree, and independent libraries agree where they are right."""

import random
from collections.abc import Sequence
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.numbers import NumberForm
from handsfree.procedure.languages import english

text_to_num = pytest.importorskip("text_to_num", reason="needs text2num, a test dependency")
num2words = pytest.importorskip("num2words", reason="needs num2words, a test dependency").num2words

pattern, read, digits = english().numbers.pattern, english().numbers.read, english().numbers.digits
MONOXIDE = NumberForm(Decimal(0), Decimal(4000), 0, 0)
SINGLE_DIGITS = {
    "zero",
    "oh",
    "nought",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "niner",
}
WORDS = sorted(pattern(NumberForm(Decimal(-4000), Decimal(99999), 1, 2)).automaton().words())


@st.composite
def forms(draw: st.DrawFn) -> NumberForm:
    decimals = draw(st.integers(0, 3))
    most = draw(st.integers(decimals, 3))
    limit = draw(st.sampled_from([30, 2500, 4000, 120000]))
    scaled = sorted(draw(st.lists(st.integers(-limit, limit), min_size=2, max_size=2)))
    low, high = (Decimal(number).scaleb(-decimals) for number in scaled)
    return NumberForm(low, high, decimals, most)


def random_sentence(automaton: WordAutomaton, choose: random.Random, longest: int = 14) -> list[str]:
    """Walk the automaton at random to a sentence; longer walks than `longest` stop at the first end."""
    arcs: dict[int, list[tuple[str, int]]] = {}
    for source, word, target in automaton.arcs:
        arcs.setdefault(source, []).append((word, target))
    state, words = 0, []
    while state not in automaton.finals or (state in arcs and len(words) < longest and choose.random() < 0.7):
        word, state = choose.choice(arcs[state])
        words.append(word)
    return words


def exact(value: Decimal) -> NumberForm:
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int)
    return NumberForm(value, value, -exponent, -exponent)


@settings(max_examples=300)
@given(forms(), st.randoms(use_true_random=False))
def test_whatever_the_pattern_accepts_is_read(form: NumberForm, choose: random.Random) -> None:
    automaton = pattern(form).automaton()
    for _ in range(5):
        words = random_sentence(automaton, choose)
        values = read(words, form)
        assert values, words
        assert all(value in form for value in values)


@settings(max_examples=400)
@given(forms(), st.lists(st.sampled_from(WORDS), max_size=7))
def test_words_at_random_are_read_exactly_when_the_pattern_accepts_them(
    form: NumberForm, words: list[str]
) -> None:
    assert bool(read(words, form)) == pattern(form).automaton().accepts(words)


@settings(max_examples=300)
@given(forms(), st.randoms(use_true_random=False))
def test_a_number_with_a_word_lost_added_or_changed_is_read_exactly_when_the_pattern_accepts_it(
    form: NumberForm, choose: random.Random
) -> None:
    wide = NumberForm(Decimal(-120000), Decimal(120000), form.decimals, form.most_decimals)
    words = random_sentence(pattern(wide).automaton(), choose)
    at = choose.randrange(len(words))
    words[at : at + choose.randrange(2)] = choose.sample(WORDS, choose.randrange(2))
    for of in (form, wide):
        assert bool(read(words, of)) == pattern(of).automaton().accepts(words)


@settings(max_examples=200)
@given(forms(), st.data())
def test_every_way_of_saying_a_number_reads_back_as_that_number(form: NumberForm, data: st.DataObject) -> None:
    decimals = data.draw(st.integers(form.decimals, form.most_decimals))
    low, high = int(form.low.scaleb(decimals)), int(form.high.scaleb(decimals))
    value = Decimal(data.draw(st.integers(low, high))).scaleb(-decimals)
    automaton = pattern(exact(value)).automaton()
    choose = data.draw(st.randoms(use_true_random=False))
    for words in (random_sentence(automaton, choose) for _ in range(5)):
        said_after_point = digits_after_point(words)
        if said_after_point is None and decimals != form.decimals:
            continue  # the point may be left out only with the digits that the instrument shows
        meant = [known for known in read(words, form) if known == value]
        assert len(meant) == 1, words
        assert said_after_point is None or meant[0].as_tuple().exponent == -said_after_point


def digits_after_point(words: Sequence[str]) -> int | None:
    """Count the digits said after the point, "thirty" and "thirty one" being two; None when no point is said."""
    at = next((at for at, word in enumerate(words) if word in {"point", "decimal"}), None)
    if at is None:
        return None
    return 2 if words[at + 1] not in SINGLE_DIGITS else len(words) - at - 1


@settings(max_examples=300)
@given(forms(), st.data())
def test_the_tools_own_read_back_is_read_as_the_same_number(form: NumberForm, data: st.DataObject) -> None:
    numbers = range(int(form.low.scaleb(form.decimals)), int(form.high.scaleb(form.decimals)) + 1)
    value = Decimal(data.draw(st.sampled_from(numbers))).scaleb(-form.decimals)
    assert str(value) in {str(known) for known in read(digits(value).split(), form)}


@pytest.mark.parametrize(
    "numbers",
    [
        pytest.param([*range(130), *range(130, 4001, 37)], id="some"),
        pytest.param(
            [*range(1300), *range(1300, 4001, 9)],
            id="most",
            marks=pytest.mark.slow("most numbers in each of their many ways"),
        ),
    ],
)
def test_whole_numbers_to_4000_are_sayable_and_read_in_each_of_their_ways(numbers: list[int]) -> None:
    automaton = pattern(MONOXIDE).automaton()
    for number in numbers:
        ways = list(pattern(exact(Decimal(number))).automaton().sentences(8))
        assert ways
        for words in ways:
            assert automaton.accepts(words)
            assert read(words, MONOXIDE) == {Decimal(number)}


def plain(words: str) -> list[str]:
    return words.replace("-", " ").replace(",", "").split()


def test_every_whole_number_as_num2words_writes_it_is_read() -> None:
    """Against num2words, with "and" (British) and without (American)."""
    sayable = pattern(MONOXIDE).automaton()
    for number in range(4001):
        words = plain(num2words(number))
        assert read(words, MONOXIDE) == {Decimal(number)}
        american = [word for word in words if word != "and"]
        assert read(american, MONOXIDE) == {Decimal(number)}
        assert sayable.accepts(american)


def test_years_as_num2words_writes_them_are_read() -> None:
    """Against num2words: pairs such as "eighteen eighty", "eighteen oh five" and "nineteen hundred"."""
    for number in range(1100, 4000):
        assert read(plain(num2words(number, to="year")), MONOXIDE) == {Decimal(number)}


def test_tenths_and_hundredths_as_num2words_writes_them_are_read() -> None:
    """Against num2words, which drops zeros at the end: there the value is equal, not its resolution.

    It also drops the minus of numbers between -1 and 0, so those are left out.
    """
    form = NumberForm(Decimal(-30), Decimal(30), 2, 2)
    for scaled in [*range(-3000, -99, 7), *range(0, 3001, 7)]:
        value = Decimal(scaled).scaleb(-2)
        assert value in read(plain(num2words(value)), form)


TO_TEXT2NUM = {"oh": "zero", "nought": "zero", "niner": "nine", "decimal": "point", "negative": "minus"}


@settings(max_examples=300)
@given(st.sampled_from([0, 1, 2]), st.randoms(use_true_random=False))
def test_where_text2num_finds_one_number_ours_finds_it_too(decimals: int, choose: random.Random) -> None:
    """Against text2num, whose words for nought and the point are fewer: no reading of it is missed."""
    form = NumberForm(Decimal(0), Decimal(9999), decimals, decimals)
    words = random_sentence(pattern(form).automaton(), choose)
    theirs = text_to_num.alpha2digit(" ".join(TO_TEXT2NUM.get(word, word) for word in words), "en")
    if theirs.replace(".", "", 1).isdigit() and theirs == str(Decimal(theirs)):  # "08" is no number
        assert Decimal(theirs) in read(words, form), (words, theirs)


def test_cardinals_are_read_as_text2num_reads_them() -> None:
    """Against text2num on its own ground, cardinals, as rendered by num2words."""
    form = NumberForm(Decimal(0), Decimal(999_999), 0, 0)
    for number in [*range(2000), *range(2000, 1_000_000, 997)]:
        words = " ".join(plain(num2words(number)))
        assert read(words.split(), form) == {Decimal(text_to_num.text2num(words, "en"))}
