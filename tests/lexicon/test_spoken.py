"""How the tool says numbers: digit by digit, and which it must ask apart."""

from decimal import Decimal

import pytest

from handsfree.lexicon.numbers import NumberForm
from handsfree.procedure.languages import english

NUMBERS = english().numbers
pattern, read, digits, ask_apart = NUMBERS.pattern, NUMBERS.read, NUMBERS.digits, NUMBERS.ask_apart


@pytest.mark.parametrize(
    ("value", "words"),
    [
        # ICAO Annex 10 volume II, examples under 5.2.1.4.1.1: each digit by itself.
        ("238", "two three eight"),
        ("1010", "one zero one zero"),
        ("70", "seven zero"),
        # The project's own dialogue rules; "point" where ICAO says "decimal".
        ("9.3", "nine point three"),
        ("9.30", "nine point three zero"),
        ("18", "one eight"),
        ("-2", "minus two"),
        ("0.3", "zero point three"),
        ("4E+2", "four zero zero"),
        ("0", "zero"),
    ],
)
def test_a_number_is_said_digit_by_digit_with_every_digit_given(value: str, words: str) -> None:
    assert digits(Decimal(value)) == words


@pytest.mark.parametrize("teen", range(13, 20))
def test_teens_and_tens_are_asked_apart_both_ways(teen: int) -> None:
    ten = 10 * (teen - 10)
    for value in (teen, ten, -teen, 100 + teen, 100 + ten, 1000 * teen, Decimal(f"{teen}.5"), Decimal(f"9.{ten}")):
        assert ask_apart(Decimal(value))


@pytest.mark.parametrize(
    "value", ["0", "9", "10", "11", "12", "20", "21", "44", "9.3", "9.5", "20.9", "105", "120", "400", "2005"]
)
def test_numbers_without_a_twin_are_not_asked_apart(value: str) -> None:
    assert not ask_apart(Decimal(value))


TEENS = "thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()  # noqa: SIM905 - reads as it is said
TENS = "thirty forty fifty sixty seventy eighty ninety".split()  # noqa: SIM905 - reads as it is said
TWIN = {**dict(zip(TEENS, TENS, strict=True)), **dict(zip(TENS, TEENS, strict=True))}


_every = pytest.mark.slow("nearly every number of each display, said in each of its ways")


@pytest.mark.parametrize(
    ("form", "step"),
    [
        (NumberForm(Decimal(0), Decimal(1300), 0, 0), 7),
        (NumberForm(Decimal(0), Decimal(9999), 0, 0), 101),
        (NumberForm(Decimal(0), Decimal(120), 1, 1), 11),
        (NumberForm(Decimal(0), Decimal(99), 2, 2), 199),
        (NumberForm(Decimal(0), Decimal(99999), 0, 0), 1301),
        pytest.param(NumberForm(Decimal(0), Decimal(1300), 0, 0), 1, marks=_every),
        pytest.param(NumberForm(Decimal(0), Decimal(9999), 0, 0), 23, marks=_every),
        pytest.param(NumberForm(Decimal(0), Decimal(120), 1, 1), 1, marks=_every),
        pytest.param(NumberForm(Decimal(0), Decimal(99), 2, 2), 41, marks=_every),
        pytest.param(NumberForm(Decimal(0), Decimal(99999), 0, 0), 307, marks=_every),
    ],
)
def test_no_number_that_a_twin_word_turns_into_another_escapes(form: NumberForm, step: int) -> None:
    """Every way of saying a number as the instrument shows it, with one teen word made a ten word or back."""
    for value in list(form.numbers())[::step]:
        if ask_apart(value):
            continue
        alone = NumberForm(value, value, form.decimals, form.decimals)
        for words in pattern(alone).automaton().sentences(8):
            if not any(form.shows(known) for known in read(words, alone)):
                continue
            for at, word in enumerate(words):
                if word in TWIN:
                    assert not read([*words[:at], TWIN[word], *words[at + 1 :]], form), words
