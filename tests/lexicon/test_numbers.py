"""The number reader against tables of spoken forms: what is heard as which value, and what is refused."""

from decimal import Decimal

import pytest

from handsfree.lexicon.numbers import NumberForm
from handsfree.problem import Problem
from handsfree.procedure.languages import english

NUMBERS = english().numbers
pattern, read, unsayable = NUMBERS.pattern, NUMBERS.read, NUMBERS.unsayable
SAID = {*NUMBERS.said.digits, NUMBERS.said.point, NUMBERS.said.minus}


def form(low: str, high: str, decimals: int = 0, most: int | None = None) -> NumberForm:
    return NumberForm(Decimal(low), Decimal(high), decimals, decimals if most is None else most)


def heard(words: str, of: NumberForm) -> set[str]:
    """Return what the words mean as texts, since Decimal("9.30") == Decimal("9.3") but they differ here."""
    values = read(words.split(), of)
    assert pattern(of).automaton().accepts(words.split()) == bool(values)
    return {str(value) for value in values}


OXYGEN = form("0", "21", 1, 2)
MONOXIDE = form("0", "4000")
DRAUGHT = form("-5", "5", 2)
PLAIN = form("0", "999999", 0, 2)

# ICAO Annex 10 volume II, the examples under 5.2.1.4.1.1 (each digit), 5.2.1.4.1.2 (whole hundreds and
# thousands) and 5.2.1.4.1.4 (the word decimal); 122.1 is an example of CAP 413, 1.4.
ICAO = {
    "two three eight": "238",
    "two four two": "242",
    "one eight zero": "180",
    "two zero zero": "200",
    "seven zero": "70",
    "one six zero": "160",
    "one eight": "18",
    "two four zero zero": "2400",
    "four two zero three": "4203",
    "one zero one zero": "1010",
    "one zero zero zero": "1000",
    "eight hundred": "800",
    "three thousand four hundred": "3400",
    "one two thousand": "12000",
    "two thousand two hundred": "2200",
    "four thousand three hundred": "4300",
    "one two two decimal one": "122.1",
}


@pytest.mark.parametrize(("words", "value"), ICAO.items())
def test_numbers_said_as_icao_prescribes_are_read(words: str, value: str) -> None:
    assert heard(words, PLAIN) == {value}


def test_niner_is_nine_as_icao_pronounces_it() -> None:
    # ICAO Annex 10 volume II, 5.2.1.4.3.1: 9 is pronounced NIN-er.
    assert heard("niner niner point niner", form("0", "100", 1)) == {"99.9"}


# Common practice, no source: how people read a display out. The first seven are the issue's own examples.
SPOKEN = [
    ("nine point three", OXYGEN, {"9.3"}),
    ("nine decimal three", OXYGEN, {"9.3"}),
    ("niner point oh", OXYGEN, {"9.0"}),
    ("one twelve", MONOXIDE, {"112"}),
    ("a hundred and twelve", MONOXIDE, {"112"}),
    ("four hundred", MONOXIDE, {"400"}),
    ("minus two", DRAUGHT, {"-2"}),
    ("nine three", OXYGEN, {"9.3"}),
    ("nine point three oh", OXYGEN, {"9.30"}),
    ("nine point thirty", OXYGEN, {"9.30"}),
    ("nine point oh three", OXYGEN, {"9.03"}),
    ("ten point three", OXYGEN, {"10.3"}),
    ("ten three", OXYGEN, {"10.3"}),
    ("twelve five", form("0", "2000", 1), {"12.5"}),
    ("twenty oh", OXYGEN, {"20.0"}),
    ("twenty point nine", OXYGEN, {"20.9"}),
    ("point three", OXYGEN, {"0.3"}),
    ("zero point three", OXYGEN, {"0.3"}),
    ("oh point three", OXYGEN, {"0.3"}),
    ("nought point three", OXYGEN, {"0.3"}),
    ("oh two", OXYGEN, {"0.2"}),
    ("zero", OXYGEN, {"0"}),
    ("nine", OXYGEN, {"9"}),
    ("eighteen", MONOXIDE, {"18"}),
    ("eighty", MONOXIDE, {"80"}),
    ("eight zero", MONOXIDE, {"80"}),
    ("one two three", MONOXIDE, {"123"}),
    ("nine nine nine", MONOXIDE, {"999"}),
    ("one oh five", MONOXIDE, {"105"}),
    ("one hundred twelve", MONOXIDE, {"112"}),
    ("a hundred", MONOXIDE, {"100"}),
    ("two fifty", MONOXIDE, {"250"}),
    ("twelve hundred", MONOXIDE, {"1200"}),
    ("twelve hundred and fifty", MONOXIDE, {"1250"}),
    ("a thousand", MONOXIDE, {"1000"}),
    ("two thousand and five", MONOXIDE, {"2005"}),
    ("one thousand two hundred", MONOXIDE, {"1200"}),
    ("one thousand two hundred and thirty four", MONOXIDE, {"1234"}),
    ("eighteen eighty", MONOXIDE, {"1880"}),
    ("eighteen oh five", MONOXIDE, {"1805"}),
    ("twenty twenty five", MONOXIDE, {"2025"}),
    ("oh", MONOXIDE, {"0"}),
    ("negative two", DRAUGHT, {"-2"}),
    ("minus point oh five", DRAUGHT, {"-0.05"}),
    ("minus oh point one two", DRAUGHT, {"-0.12"}),
    ("minus zero point zero zero", DRAUGHT, {"0.00"}),
]


@pytest.mark.parametrize(("words", "of", "values"), SPOKEN)
def test_common_ways_of_saying_a_reading_are_read(words: str, of: NumberForm, values: set[str]) -> None:
    assert heard(words, of) == values


AMBIGUOUS = [
    ("one eight", form("0", "25", 1), {"1.8", "18"}),
    ("one twenty five", form("0", "500", 2), {"1.25", "125"}),
    ("nine thirty", form("0", "2000", 2), {"9.30", "930"}),
    ("one two five", form("0", "200", 1), {"12.5", "125"}),
]


@pytest.mark.parametrize(("words", "of", "values"), AMBIGUOUS)
def test_words_that_can_mean_several_numbers_give_all_of_them(
    words: str, of: NumberForm, values: set[str]
) -> None:
    assert heard(words, of) == values


def test_a_whole_number_for_an_instrument_that_shows_tenths_stays_whole() -> None:
    """ "Twenty five" is 25 and not 20.5, and it does not carry the digit that the instrument shows."""
    tenths = form("0", "30", 1)
    assert heard("twenty five", tenths) == {"25"}
    assert not tenths.shows(Decimal(25))
    assert tenths.shows(Decimal("25.0"))
    assert not heard("twenty five", form("0", "21", 1))


def test_the_point_is_left_out_only_with_exactly_the_digits_the_instrument_shows() -> None:
    assert heard("nine three oh", OXYGEN) == set()
    assert heard("nine three", form("0", "21", 2)) == set()
    assert heard("nine three oh", form("0", "21", 2)) == {"9.30"}


REFUSED = [
    "",
    "point",
    "minus",
    "and",
    "hundred",
    "hundred and twelve",
    "a",
    "a nine",
    "nine point",
    "nine point point three",
    "nine point three point one",
    "nine point a hundred",
    "nine and three",
    "nine hundred and",
    "nine hundred hundred",
    "zero hundred",
    "oh oh seven",
    "four hundred four hundred",
    "minus minus two",
    "two minus",
    "[unk]",
    "nine [unk] three",
    "three nine eighty",
    "nine ninety nine ninety",
    "thousand",
    "two thousand three thousand",
    "night team",
]


@pytest.mark.parametrize("words", REFUSED)
def test_words_that_are_no_number_have_no_value(words: str) -> None:
    assert heard(words, form("-999999", "999999", 0, 2)) == set()


# Words that a summing reader turns into another number without a sign of doubt, with that number.
CORRUPTED = [
    ("nine three", OXYGEN, "12"),
    ("nine point oh three", OXYGEN, "9.3"),
    ("minus two", form("-5", "5"), "2"),
    ("eighteen eighty", MONOXIDE, "98"),
    ("nine nine nine", MONOXIDE, "90"),
    ("nine nine nine", MONOXIDE, "27"),
]


@pytest.mark.parametrize(("words", "of", "wrong"), CORRUPTED)
def test_numbers_are_never_summed(words: str, of: NumberForm, wrong: str) -> None:
    values = heard(words, of)
    assert len(values) == 1
    assert wrong not in values


@pytest.mark.parametrize(
    ("words", "of"),
    [
        ("twenty two", OXYGEN),
        ("twenty one point one", OXYGEN),
        ("minus one", OXYGEN),
        ("minus zero", OXYGEN),
        ("four thousand and one", MONOXIDE),
        ("nine point three", MONOXIDE),
        ("nine point three oh one", OXYGEN),
        ("minus five point oh one", DRAUGHT),
        ("eight point four", form("8.5", "10.2", 1)),
        ("ten point three", form("8.5", "10.2", 1)),
        ("eight", form("8.5", "10.2", 1)),
    ],
)
def test_numbers_outside_the_form_are_not_read(words: str, of: NumberForm) -> None:
    assert heard(words, of) == set()


def test_the_ends_of_a_range_are_inside_it() -> None:
    of = form("8.5", "10.2", 1)
    assert heard("eight point five", of) == {"8.5"}
    assert heard("ten point two", of) == {"10.2"}
    assert Decimal("8.5") in of
    assert Decimal("8.4") not in of
    assert Decimal("8.55") not in of
    assert Decimal("NaN") not in of
    assert 9 not in of


@pytest.mark.parametrize(
    ("low", "high", "decimals", "most", "told"),
    [
        ("5", "4", 0, 0, "from 5 to 4"),
        ("0", "NaN", 0, 0, "NaN"),
        ("0", "Infinity", 0, 0, "Infinity"),
        ("0", "5", 2, 1, "2 to 1 digits"),
        ("0", "5", -1, 1, "-1 to 1 digits"),
        ("0", "5", 0, 9, "0 to 9 digits"),
        ("0", "1e12", 0, 0, "more than 9 digits"),
        ("0.31", "0.39", 1, 2, "no number with 1 digits"),
    ],
)
def test_a_form_of_no_sayable_number_is_a_problem_told_in_one_sentence(
    low: str, high: str, decimals: int, most: int, told: str
) -> None:
    with pytest.raises(Problem, match=told):
        form(low, high, decimals, most)


def test_every_number_is_sayable_with_a_word_for_each_digit_the_point_and_minus() -> None:
    assert unsayable(form("-999999999", "999999999", 4), SAID) is None
    assert unsayable(DRAUGHT, (SAID - {"minus", "zero", "point"}) | {"negative", "oh", "decimal"}) is None


def test_the_least_number_that_lacks_a_word_is_named() -> None:
    words = SAID
    assert unsayable(MONOXIDE, words - {"seven"}) == Decimal(7)
    assert unsayable(OXYGEN, words - {"point"}) == Decimal("0.0")
    assert unsayable(DRAUGHT, words - {"minus"}) == Decimal("-5.00")
    assert unsayable(form("10", "12"), words - {"seven"}) is None


@pytest.mark.parametrize(
    ("of", "states"), [(MONOXIDE, 40), (OXYGEN, 24), (DRAUGHT, 28), (form("-20", "300", 1), 40), (PLAIN, 72)]
)
def test_the_automaton_of_a_form_stays_small(of: NumberForm, states: int) -> None:
    """A graph for the recogniser is built from it at each gate: its size is a cost we hold down."""
    automaton = pattern(of).automaton()
    assert 1 + max(target for _, _, target in automaton.arcs) <= states


def test_the_word_for_zero_does_not_change_between_two_digits() -> None:
    """ "Three zero oh" is no 300: it is how the end of "zero" is misheard; after the point it may change."""
    assert read(["three", "zero", "oh"], MONOXIDE) == frozenset()
    assert read(["three", "zero", "zero"], MONOXIDE) == {Decimal(300)}
    assert read(["zero", "point", "oh", "five"], DRAUGHT) == {Decimal("0.05")}
    assert not pattern(MONOXIDE).automaton().accepts(["three", "zero", "oh"])
