"""What is understood at each question of each shipped gate."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.gates.asking import questions_at
from handsfree.gates.choice import ChoiceGate
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.readings import ReadingsGate
from handsfree.gates.timed import TimedGate
from handsfree.lexicon.meaning import TOLD, Answer, Command, HazardSaid, TurnMade, Values, Wrong
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.questions import QUESTION_KINDS, Question
from handsfree.questions.grammar import grammar, stop_grammar
from handsfree.questions.mark import Mark
from handsfree.questions.once_more import OnceMore
from handsfree.questions.put_back import PutBack
from handsfree.questions.recheck_thing import RecheckThing
from handsfree.questions.still_firing import StillFiring
from handsfree.questions.turn import Turn
from handsfree.questions.waiting import Waiting

PROCEDURES = Path(__file__).parents[2] / "procedures"
VISIT = load_procedure(PROCEDURES / "two-rate-combustion.yaml")
CATALOGUE = english()
FIRING_GATE = "found-maximum"


def asked_anywhere() -> dict[str, tuple[Question, str]]:
    """Return kind -> a question of that kind and the gate where it is asked, for every kind there is."""
    found: dict[str, tuple[Question, str]] = {}
    for gate_id, placed in VISIT.gates.items():
        for question in questions_at(placed.gate, VISIT.scope(gate_id)):
            found.setdefault(question.kind, (question, gate_id))
    return found


KINDS = asked_anywhere()
STOPPED_KINDS = {kind for kind, (question, _) in KINDS.items() if question.manner.asker == "stop"}


def understood(question: Question, gate_id: str, words: str) -> tuple[object, ...]:
    """Return every meaning of words at a question of a shipped gate."""
    return grammar(question, VISIT.scope(gate_id)).read(words.split())


def first_question(gate_id: str) -> Question:
    """Return what a gate asks first."""
    return VISIT.gates[gate_id].gate.questions(VISIT.scope(gate_id))[0]


def test_every_kind_of_question_is_asked_somewhere_in_the_shipped_visit() -> None:
    """So that what is held of each kind below, and proven of each, leaves none out.

    A person's number alone is asked for elsewhere: see `tests/gates/test_answered_by.py`.
    """
    assert {*KINDS, "person-number"} == {kind.model_fields["kind"].default for kind in QUESTION_KINDS}


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_stop_phrase_is_understood_at_every_kind_of_question(kind: str) -> None:
    """And accepted by the language that the recogniser listens for."""
    question, gate_id = KINDS[kind]
    rules = grammar(question, VISIT.scope(gate_id))
    for name, hazard in CATALOGUE.hazards.items():
        for text in hazard.heard:
            assert HazardSaid(name) in rules.read(text.split())
            assert rules.automaton.accepts(text.split())


@pytest.mark.parametrize("kind", sorted(set(KINDS) - STOPPED_KINDS))
def test_everywhere_phrases_are_understood_until_the_visit_is_stopped(kind: str) -> None:
    """Repeat, go back, hold on and the others; CO over range too."""
    for name, texts in CATALOGUE.everywhere.items():
        wanted = name != "no-photo"  # only where a gate wants one
        assert (Command(name) in understood(*KINDS[kind], texts[0])) == wanted
    assert Wrong("co2") in understood(*KINDS[kind], "c o two was wrong")
    assert Values((("co", "over range"),)) in understood(*KINDS[kind], "c o over range")


@pytest.mark.parametrize("kind", sorted(STOPPED_KINDS))
def test_a_stopped_visit_listens_for_no_everywhere_phrase(kind: str) -> None:
    """Only stops, the ways on, the answers of a step, and at a step that the last answer was wrong.

    Free words take whatever is said.
    """
    free = {Answer(TOLD)} if kind == "stop-talk" else set()
    steps = {"stop-step", "stop-thing", "stop-reading", "stop-talk", "close-check"}
    for name, texts in CATALOGUE.everywhere.items():
        wrong = {Command("that-was-wrong")} if name == "that-was-wrong" and kind in steps else set()
        assert set(understood(*KINDS[kind], texts[0])) == free | wrong


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
        assert understood(first_question(gate_id), gate_id, text)[0] == Answer(name)
    assert understood(first_question(gate_id), gate_id, "confirmed") == ()


@pytest.mark.parametrize(
    "gate_id", [gate_id for gate_id, placed in VISIT.gates.items() if placed.gate.effects.asks]
)
def test_a_reading_gate_understands_each_of_its_values_by_name(gate_id: str) -> None:
    """With the number form of the quantity."""
    for ask in VISIT.gates[gate_id].gate.effects.asks:
        quantity = CATALOGUE.quantities[ask.quantity]
        decimals = quantity.decimals if ask.decimals is None else ask.decimals
        number = "one" if decimals == 0 else "one point " + " ".join(["three"] * decimals)
        if decimals == 0 and quantity.low > 1:
            number = "one five"
        for name in quantity.heard:
            found = understood(first_question(gate_id), gate_id, f"{name} {number}")
            assert [m for m in found if isinstance(m, Values) and m.values[0][0] == ask.quantity], (gate_id, name)


def test_the_rate_belongs_to_gates_that_hold_one() -> None:
    """Elsewhere a row that ends in "maximum" is not understood."""
    assert understood(first_question("found-maximum"), "found-maximum", "nine three four four one eight maximum")
    assert not understood(
        first_question("final-temperatures"), "final-temperatures", "five eight one nine six two four one maximum"
    )


def test_dropped_back_is_heard_wherever_a_rate_is_held() -> None:
    """At the gate, in its wait, at its read-backs; not at a gate without a hold."""
    asked = (*VISIT.gates[FIRING_GATE].gate.questions(VISIT.scope(FIRING_GATE)), Waiting())
    assert len({question.kind for question in asked}) > 7
    for question in asked:
        assert Answer("dropped-back") in understood(question, FIRING_GATE, "dropped back")
    assert understood(first_question("site"), "site", "dropped back") == ()


def test_things_answer_in_their_own_words() -> None:
    """Fitted or removed, and a setting by its value."""
    assert understood(PutBack(thing="cover"), "put-back", "fitted") == (Answer("restored"),)
    assert understood(RecheckThing(thing="cover"), "put-back", "removed") == (Answer("altered"),)
    assert isinstance(understood(PutBack(thing="outdoor-reset"), "put-back", "one point five")[0], Values)
    assert understood(PutBack(thing="outdoor-reset"), "put-back", "restored") == ()


def test_turns_marks_and_the_burner_have_their_questions() -> None:
    """Nowhere else are they understood."""
    assert understood(Turn(), "maximum-turn", "clockwise one eighth") == (TurnMade("clockwise", 1),)
    assert understood(Mark(which="first"), "input-found/time-the-meter", "mark") == (Answer("mark"),)
    assert understood(StillFiring(), "found-maximum", "burner is off") == (Answer("off"),)
    for words in ("clockwise one eighth", "mark", "burner is off"):
        assert understood(first_question("found-maximum"), "found-maximum", words) == ()


def test_an_extra_digit_is_heard_only_where_one_tenth_is_asked() -> None:
    """9.35 where one value to a tenth is asked; a row keeps its digits, or its division would be guessed."""
    single = understood(first_question("standing-pressure"), "standing-pressure", "two one point three five")
    assert [str(m.values[0][1]) for m in single if isinstance(m, Values)] == ["21.35"]
    assert isinstance(VISIT.gates["found-maximum"].gate, ReadingsGate)
    row = understood(OnceMore(quantity="co2"), "found-maximum", "nine point three five")
    assert [str(m.values[0][1]) for m in row if isinstance(m, Values)] == ["9.35"]
    assert isinstance(VISIT.gates["input-found/time-the-meter"].gate, TimedGate)
