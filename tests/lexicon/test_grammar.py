"""The grammar of the moment: which words each rule accepts, and everything they can mean."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.correction_rules import CorrectionRule, WrongRule
from handsfree.lexicon.grammar import Grammar, PhraseRule, TalkRule, TurnRule, answers, hazards
from handsfree.lexicon.meaning import Answer, Command, Correction, HazardSaid, TurnMade, Values, Wrong
from handsfree.lexicon.numbers import NumberForm
from handsfree.lexicon.value_rules import Slot, ValuesRule
from handsfree.procedure.languages import english

NUMBERS = english().numbers
SPECIALS = {"over range": "over range", "dashes": "no reading"}
CO2 = Slot(
    NUMBERS,
    "co2",
    NumberForm(Decimal(0), Decimal(25), 1, 1),
    ("c o two", "carbon dioxide"),
    ("percent",),
    SPECIALS,
)  # type: ignore[arg-type]
O2 = Slot(NUMBERS, "o2", NumberForm(Decimal(0), Decimal(21), 1, 1), ("o two", "oxygen"), ("percent",), SPECIALS)  # type: ignore[arg-type]
CO = Slot(NUMBERS, "co", NumberForm(Decimal(0), Decimal(9999), 0, 0), ("c o", "monoxide"), ("parts",), SPECIALS)  # type: ignore[arg-type]
RATES = {"maximum": "maximum", "high fire": "maximum", "minimum": "minimum"}
ROW = ValuesRule((CO2, O2, CO), RATES)


def meanings(rule: object, words: str) -> list[object]:
    return list(dict.fromkeys(rule.read(tuple(words.split()))))  # type: ignore[attr-defined]


def called(**values: str) -> tuple[tuple[str, object], ...]:
    return tuple((name, Decimal(value) if value[0].isdigit() else value) for name, value in values.items())


@pytest.mark.parametrize(
    "words",
    [
        "nine point three four point four one eight",
        "nine decimal three four point four eighteen",
        "nine three four four one eight",
        "niner three four four eighteen",
        "nine three percent four four percent one eight parts",
        "c o two nine point three o two four point four c o one eight",
        "carbon dioxide nine three oxygen four four monoxide eighteen",
    ],
)
def test_a_row_is_divided_among_its_quantities(words: str) -> None:
    """Points, names and units may be said or left out; the row is the same."""
    assert Values(called(co2="9.3", o2="4.4", co="18")) in meanings(ROW, words)


def test_a_row_may_stop_early_and_a_value_may_be_named_alone() -> None:
    """As far as it goes, and "c o eighteen" is CO wherever it stands in the order."""
    assert meanings(ROW, "nine point three") == [Values(called(co2="9.3"))]
    assert Values(called(co="18")) in meanings(ROW, "c o eighteen")


def test_the_rate_stands_at_either_end() -> None:
    """Before, after, or both; synonyms mean the same rate."""
    words = "nine point three four point four one eight"
    values = called(co2="9.3", o2="4.4", co="18")
    assert meanings(ROW, f"{words} maximum") == [Values(values, None, "maximum")]
    assert meanings(ROW, f"minimum {words} high fire") == [Values(values, "minimum", "maximum")]


def test_co_two_eight_means_two_things() -> None:
    """CO 28 and CO2 8 (with fewer digits than the display): both, so that it can be asked."""
    assert set(meanings(ROW, "c o two eight")) == {Values(called(co2="8")), Values(called(co="28"))}


def test_over_range_alone_may_be_any_of_the_values() -> None:
    """Named it is that one; dashes in a row stand for their value."""
    assert set(meanings(ROW, "over range")) == {Values(((name, "over range"),)) for name in ("co2", "o2", "co")}
    assert meanings(ROW, "monoxide over range") == [Values((("co", "over range"),))]
    assert meanings(ROW, "dashes four point four one eight") == [
        Values((("co2", "no reading"), ("o2", Decimal("4.4")), ("co", Decimal(18))))
    ]


@pytest.mark.parametrize(
    "words", ["", "blue", "nine point", "nine three four four eighteen blue", "percent", "point"]
)
def test_what_is_no_row_has_no_meaning(words: str) -> None:
    """Nothing is guessed."""
    assert meanings(ROW, words) == []


def test_a_correction_fits_by_value_or_by_name() -> None:
    """Without a name every value it could be; with one, that; a bare denial is none."""
    rule = CorrectionRule(("no", "negative"), (CO2, O2, CO))
    assert meanings(rule, "no c o eighty") == [Correction((("co", Decimal(80)),))]
    assert meanings(rule, "negative nine point five") == [Correction(((None, Decimal("9.5")),))]
    assert meanings(rule, "no") == []
    assert meanings(CorrectionRule(("no",), (CO,)), "no eighty") == [Correction((("co", Decimal(80)),))]


def test_a_value_is_taken_back_by_name() -> None:
    """ "C o two was wrong"."""
    rule = WrongRule({"c o two": "co2", "c o": "co"}, ("was wrong",))
    assert meanings(rule, "c o two was wrong") == [Wrong("co2")]
    assert meanings(rule, "c o was wrong") == [Wrong("co")]
    assert meanings(rule, "was wrong") == []


def test_a_turn_needs_its_direction_unless_none_was_made() -> None:
    """ "One eighth" alone could be either way."""
    rule = TurnRule(
        {"clockwise": "clockwise", "counter clockwise": "counter-clockwise"}, {"no turn": 0, "one eighth": 1}
    )
    assert meanings(rule, "counter clockwise one eighth") == [TurnMade("counter-clockwise", 1)]
    assert meanings(rule, "no turn") == [TurnMade(None, 0)]
    assert meanings(rule, "one eighth") == []


def test_an_open_phrase_may_be_followed_by_any_talk() -> None:
    """A reason is kept, not understood; a closed phrase stands alone."""
    rule = PhraseRule(
        {"not done because": Command("not-done"), "repeat": Command("repeat")}, frozenset({"not done because"})
    )
    assert meanings(rule, "not done because [unk]") == [Command("not-done")]
    assert meanings(rule, "not done because the dog ate it") == [Command("not-done")]
    assert meanings(rule, "not done") == []
    assert meanings(rule, "repeat it") == []
    assert meanings(TalkRule("talk", "speak freely"), "anything at all") == [Answer("talk")]


def test_the_first_meaning_is_the_gates_own_and_none_comes_twice() -> None:
    """In the order of the rules."""
    grammar = Grammar(
        (answers({"done": ("ready",)}), hazards({"stop": ("ready",)}), answers({"done": ("ready",)}))
    )
    assert grammar.read(["ready"]) == (Answer("done"), HazardSaid("stop"))


EXAMPLES = (
    ROW,
    CorrectionRule(("no",), (CO2, CO)),
    WrongRule({"c o two": "co2"}, ("was wrong",)),
    TurnRule({"clockwise": "clockwise"}, {"no turn": 0, "one eighth": 1}),
    PhraseRule({"not done because": Command("not-done")}, frozenset({"not done because"})),
    answers({"done": ("ready", "all ready")}),
)
GRAMMARS = [(type(rule).__name__, Grammar((rule,))) for rule in EXAMPLES]  # type: ignore[arg-type]


def sentence(automaton: WordAutomaton, picks: list[int]) -> str | None:
    """Return a sentence of the language, or None when the picks do not lead to an end."""
    state, words = 0, []
    for pick in picks:
        if state in automaton.finals and pick % 4 == 0 and words:
            return " ".join(words)
        ways = [(word, to) for source, word, to in automaton.arcs if source == state]
        if not ways:
            break
        word, state = ways[pick % len(ways)]
        if word is not None:
            words.append(word)
    return " ".join(words) if state in automaton.finals and words else None


@pytest.mark.parametrize(
    "grammar", [grammar for _, grammar in GRAMMARS[2:]], ids=[name for name, _ in GRAMMARS[2:]]
)
@given(picks=st.lists(st.integers(0, 1000), min_size=20, max_size=20))
def test_every_sentence_of_a_language_has_a_meaning(grammar: Grammar, picks: list[int]) -> None:
    """What may be heard is understood. (Values are apart: numbers with too few digits are asked again.)"""
    said = sentence(grammar.automaton, picks)
    if said is not None:
        assert grammar.read(said.split()), said


@given(st.integers(0, 250), st.integers(0, 210), st.integers(0, 9999))
def test_every_row_said_digit_by_digit_is_heard_and_read(co2: int, o2: int, co: int) -> None:
    """Whatever the values, the language holds the row, and the row is among its meanings."""
    values = (Decimal(co2).scaleb(-1), Decimal(o2).scaleb(-1), Decimal(co))
    said = [*" ".join(NUMBERS.digits(value) for value in values).split(), "maximum"]
    assert GRAMMARS[0][1].automaton.accepts(said)
    row = tuple(zip(("co2", "o2", "co"), values, strict=True))
    assert Values(row, None, "maximum") in GRAMMARS[0][1].read(said)


@given(picks=st.lists(st.integers(0, 1000), min_size=20, max_size=20))
def test_a_value_read_is_one_that_the_display_can_show(picks: list[int]) -> None:
    """In range and to its resolution, whatever row is said; the rate ends a whole row."""
    said = sentence(GRAMMARS[0][1].automaton, picks)
    for meaning in GRAMMARS[0][1].read(said.split() if said else []):
        assert isinstance(meaning, Values)
        for name, value in meaning.values:
            slot = {"co2": CO2, "o2": O2, "co": CO}[name]
            assert value in SPECIALS.values() or value in slot.form


def test_the_example_of_a_rule_can_be_heard_and_read() -> None:
    """ "Say it like: ..." names sentences that are heard and have a meaning, digits spoken one by one."""
    for rule in (
        ROW,
        TurnRule({"clockwise": "clockwise"}, {"no turn": 0, "one eighth": 1}),
        WrongRule({"c o two": "co2"}, ("was wrong",)),
    ):
        for example in rule.examples():
            grammar, said = Grammar((rule,)), example.replace(",", " ").split()  # type: ignore[arg-type]
            assert grammar.automaton.accepts(said), example
            assert grammar.read(said), example


def test_a_catalogue_holds_no_phrase_that_is_both_a_stop_and_something_else() -> None:
    """Hazards, answers, commands, rates and turns share no phrase."""
    catalogue = english()
    groups = [
        *(hazard.heard for hazard in catalogue.hazards.values()),
        *catalogue.everywhere.values(),
        *catalogue.rates.values(),
        *catalogue.turns.values(),
    ]
    every = [text for group in groups for text in group]
    assert len(every) == len(set(every))
    assert not [text for texts in catalogue.answers.values() for text in texts if catalogue.hazard_of(text)]


def test_a_hazard_is_found_as_whole_words() -> None:
    """ "Feel illness" is none; case and spaces do not matter."""
    catalogue = english()
    assert catalogue.hazard_of("I  Feel ill now") == "feel-ill"
    assert catalogue.hazard_of("feel illness") is None
