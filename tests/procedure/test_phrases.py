"""What is understood at each question of each shipped gate."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.lexicon.meaning import Answer, Command, HazardSaid, TurnMade, Values, Wrong
from handsfree.procedure.languages import english
from handsfree.procedure.model import ChoiceGate, ConfirmGate, ReadingsGate, TimedGate
from handsfree.procedure.phrases import Question, asks_of, grammar, stop_grammar
from handsfree.procedure.procedure import load_procedure

PROCEDURES = Path(__file__).parents[2] / "procedures"
VISIT = load_procedure(PROCEDURES / "two-rate-combustion.yaml")
CATALOGUE = english()
KINDS = (
    *("gate", "rate", "read-back", "once-more", "digits", "which-value", "pair", "monoxide", "turn", "turn-check"),
    *("answer-check", "done-check", "thing-check", "mark-first", "mark-last", "recheck-burner", "recheck-rate"),
    *("finish-check", "note", "waiting", "stopped", "cleared-check", "close-check"),
)
STOPPED_KINDS = {"stopped", "cleared-check", "close-check"}


def understood(kind: str, gate_id: str, words: str, about: str = "") -> tuple[object, ...]:
    """Return every meaning of words at a question of a shipped gate."""
    gate = VISIT.gates[gate_id].gate
    return grammar(Question(kind, about), gate, VISIT.things, CATALOGUE).read(words.split())


@pytest.mark.parametrize("kind", KINDS)
def test_every_stop_phrase_is_understood_at_every_kind_of_question(kind: str) -> None:
    """And accepted by the language that the recogniser listens for."""
    gate = VISIT.gates["found-maximum"].gate
    rules = grammar(Question(kind), gate, VISIT.things, CATALOGUE)
    for name, hazard in CATALOGUE.hazards.items():
        for text in hazard.heard:
            assert HazardSaid(name) in rules.read(text.split())
            assert rules.automaton.accepts(text.split())


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in STOPPED_KINDS])
def test_everywhere_phrases_are_understood_until_the_visit_is_stopped(kind: str) -> None:
    """Repeat, go back, hold on and the others; CO over range too."""
    for name, texts in CATALOGUE.everywhere.items():
        assert Command(name) in understood(kind, "found-maximum", texts[0])
    assert Wrong("co2") in understood(kind, "found-maximum", "c o two was wrong")
    assert Values((("co", "over range"),)) in understood(kind, "found-maximum", "c o over range")


@pytest.mark.parametrize("kind", sorted(STOPPED_KINDS))
def test_a_stopped_visit_listens_for_no_everywhere_phrase(kind: str) -> None:
    """Only stops, the clearing, the close, and the answer to a read-back."""
    for texts in CATALOGUE.everywhere.values():
        assert understood(kind, "found-maximum", texts[0]) == ()


def test_over_the_tools_voice_only_stop_phrases_are_heard() -> None:
    """Not even "repeat"."""
    rules = stop_grammar(CATALOGUE)
    assert rules.read(["stop", "work"]) == (HazardSaid("stop-work"),)
    assert rules.read(["repeat"]) == ()
    assert not rules.automaton.accepts(["confirmed"])


@pytest.mark.parametrize(
    "gate_id",
    [gate_id for gate_id, placed in VISIT.gates.items() if isinstance(placed.gate, ConfirmGate | ChoiceGate)],
)
def test_a_gate_understands_its_own_answers_first(gate_id: str) -> None:
    """The author's phrases are the first meaning, and no other gate's."""
    gate = VISIT.gates[gate_id].gate
    if isinstance(gate, ConfirmGate):
        expected = dict.fromkeys(gate.done, "done")
    else:
        assert isinstance(gate, ChoiceGate)
        expected = {text: name for name, answer in gate.answers.items() for text in answer.heard}
    for text, name in expected.items():
        assert understood("gate", gate_id, text)[0] == Answer(name)
    assert understood("gate", gate_id, "confirmed") == ()


@pytest.mark.parametrize("gate_id", [gate_id for gate_id, placed in VISIT.gates.items() if asks_of(placed.gate)])
def test_a_reading_gate_understands_each_of_its_values_by_name(gate_id: str) -> None:
    """With the number form of the quantity."""
    for ask in asks_of(VISIT.gates[gate_id].gate):
        quantity = CATALOGUE.quantities[ask.quantity]
        decimals = quantity.decimals if ask.decimals is None else ask.decimals
        number = "one" if decimals == 0 else "one point " + " ".join(["three"] * decimals)
        if decimals == 0 and quantity.low > 1:
            number = "one five"
        for name in quantity.heard:
            found = understood("gate", gate_id, f"{name} {number}")
            assert [m for m in found if isinstance(m, Values) and m.values[0][0] == ask.quantity], (gate_id, name)


def test_the_rate_belongs_to_gates_that_hold_one() -> None:
    """Elsewhere a row that ends in "maximum" is not understood."""
    assert understood("gate", "found-maximum", "nine three four four one eight maximum")
    assert not understood("gate", "final-temperatures", "five eight one nine six two four one maximum")


def test_dropped_back_is_heard_wherever_a_rate_is_held() -> None:
    """At the gate, in its wait, at its read-backs; not at a gate without a hold."""
    for kind in ("gate", "waiting", "read-back", "once-more", "which-value", "pair", "monoxide", "rate"):
        assert Answer("dropped-back") in understood(kind, "found-maximum", "dropped back")
    assert understood("gate", "site", "dropped back") == ()


def test_things_answer_in_their_own_words() -> None:
    """Fitted or removed, and a setting by its value."""
    assert understood("restore", "put-back", "fitted", "cover") == (Answer("restored"),)
    assert understood("recheck-thing", "put-back", "removed", "cover") == (Answer("altered"),)
    assert isinstance(understood("restore", "put-back", "one point five", "outdoor-reset")[0], Values)
    assert understood("restore", "put-back", "restored", "outdoor-reset") == ()


def test_turns_marks_and_the_burner_have_their_questions() -> None:
    """Nowhere else are they understood."""
    assert understood("turn", "maximum-turn", "clockwise one eighth") == (TurnMade("clockwise", 1),)
    assert understood("mark-first", "input-found/time-the-meter", "mark") == (Answer("mark"),)
    assert understood("recheck-burner", "found-maximum", "burner off") == (Answer("off"),)
    for words in ("clockwise one eighth", "mark", "burner off"):
        assert understood("gate", "found-maximum", words) == ()


def test_an_extra_digit_is_heard_only_where_one_tenth_is_asked() -> None:
    """9.35 where one value to a tenth is asked; a row keeps its digits, or its division would be guessed."""
    single = understood("gate", "standing-pressure", "two one point three five")
    assert [str(m.values[0][1]) for m in single if isinstance(m, Values)] == ["21.35"]
    assert isinstance(VISIT.gates["found-maximum"].gate, ReadingsGate)
    row = understood("once-more", "found-maximum", "nine point three five", "co2")
    assert [str(m.values[0][1]) for m in row if isinstance(m, Values)] == ["9.35"]
    assert isinstance(VISIT.gates["input-found/time-the-meter"].gate, TimedGate)
