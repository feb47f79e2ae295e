"""A gate that a second person answers counts with their number alone; what is proven and weighed of it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handsfree.documents import Document, parse_document
from handsfree.events import decisions as ev
from handsfree.glance.key_names import ENTER
from handsfree.glance.keypad_state import KeypadState, press
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.mermaid import mermaid
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import failures
from handsfree.procedure.sheets import load_sheets, read_job_sheet
from handsfree.session.keys import keypad
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.sheets import Sheets

PLUMBING = Path(__file__).parents[2] / "handsfree" / "trades" / "plumbing" / "example" / "jobsheet.yaml"
WRITTEN = """\
handsfree: 2
procedure: looked
trade: plumbing
title: A joint looked at
purpose: Somebody else looks at a joint.
cautions: [Local code and the maker's manual come first.]
gates:
  - id: seen
    kind: confirm
    title: Joint seen
    source: common practice, no source
    prompt: Look at the joint.
    done: [joint seen]
    answered_by: second person
    not_done: stop-nobody
  - id: shown
    kind: choice
    title: Joint shown
    source: common practice, no source
    prompt: "Joint: accepted, or refused?"
    answered_by: customer
    not_done: finish
    answers:
      accepted: {heard: [joint accepted], then: finish}
      refused: {heard: [joint refused], then: stop-nobody}
  - id: finish
    kind: finish
    title: Finish
    source: common practice, no source
  - id: stop-nobody
    kind: stop
    title: Nobody to look
    source: common practice, no source
    script: Leave it as it is.
"""


def procedure_of(text: str = WRITTEN) -> Procedure:
    def read(path: Path) -> Document:
        return parse_document(text, str(path))

    return load_procedure(Path("looked.yaml"), read)


def sheets_with(*pairs: tuple[str, str]) -> Sheets:
    text = PLUMBING.read_text("utf-8")
    for was, now in pairs:
        assert was in text
        text = text.replace(was, now)
    sheets = load_sheets(PLUMBING)[0]
    return sheets.model_copy(update={"job": read_job_sheet(parse_document(text, "jobsheet.yaml"))})


def visit(*pairs: tuple[str, str]) -> Rehearsal:
    found = Rehearsal(Plan(procedure_of(), sheets_with(*pairs)).check(), date(2026, 11, 25))
    found.until_asking()
    return found


def answered(found: Rehearsal) -> list[tuple[str, str, str]]:
    return [(one.gate, one.role, one.name) for one in found.events if isinstance(one, ev.AnsweredBy)]


@pytest.mark.parametrize("said", ["eight six two", "862"])
def test_an_answer_counts_with_the_number_of_another_person(said: str) -> None:
    """Spoken or typed; until then the visit stays at the gate, and nothing is recorded of anybody."""
    found = visit()
    found.say("joint seen")
    assert (found.state.gate, found.state.question.kind, answered(found)) == ("seen", "person-number", [])
    found.say(said)
    assert found.state.gate == "shown"
    found.say("joint accepted")
    assert answered(found) == [("seen", "second person", "Tomas Example"), ("shown", "customer", "")]


@pytest.mark.parametrize(
    ("who", "gate"), [("another", "seen"), ("anybody", "shown")], ids=["must be another", "may be the first"]
)
def test_the_first_person_answers_second_only_where_the_sheet_lets_them(who: str, gate: str) -> None:
    found = visit(("who: another", f"who: {who}"))
    found.say("joint seen")
    found.say("four one seven")
    assert found.state.gate == gate
    assert [name for _, _, name in answered(found)] == ([] if who == "another" else ["Ines Demoville"])


def test_nobody_s_number_and_a_mere_yes_are_not_understood() -> None:
    found = visit()
    found.say("joint seen")
    for words in ("nine nine nine", "confirmed", "done", "eight six"):
        found.say(words)
        assert (found.state.gate, answered(found)) == ("seen", [])


def test_a_stop_is_heard_while_the_number_is_waited_for() -> None:
    found = visit()
    found.say("joint seen")
    found.say("stop work")
    assert found.state.status == "stopped"


def test_only_the_numbers_of_the_sheet_are_listened_for() -> None:
    """By the grammar itself: another number is no sentence of it."""
    found = visit()
    found.say("joint seen")
    grammar = found.plan.grammar(found.state.question, "seen")
    automaton = grammar.automaton
    assert automaton.accepts(["eight", "six", "two"])
    assert not automaton.accepts(["eight", "six", "three"])


def test_a_sheet_without_anybody_who_may_answer_leads_no_visit() -> None:
    with pytest.raises(Problem, match="a second person answers at seen, and the job sheet names nobody"):
        visit(("    - {name: Tomas Example, number: 862}\n", ""))


@pytest.mark.parametrize("number", [418, 4172, 41])
def test_numbers_that_could_be_taken_for_each_other_are_refused(number: int) -> None:
    """One digit heard wrong, or one more, must never be another person: two digits differ at least."""
    with pytest.raises(Problem, match=r"jobsheet\.yaml:\d+"):
        sheets_with(("number: 862", f"number: {number}"))


def test_what_a_second_person_answers_cannot_be_skipped() -> None:
    """The proof holds as written, and fails where "not done" leads on as the answer does."""
    assert failures(procedure_of()) == frozenset()
    skipped = failures(procedure_of(WRITTEN.replace("    not_done: stop-nobody\n", "")))
    assert {proof for proof, _ in skipped} == {"second-person"}


def test_a_person_less_is_looser_and_one_more_is_tighter() -> None:
    one = procedure_of(WRITTEN.replace("    answered_by: second person\n", ""))
    two = procedure_of()
    assert [(change.what, change.weight) for change in changes(two, one)] == [("answered_by", "looser")]
    assert [(change.what, change.weight) for change in changes(one, two)] == [("answered_by", "tighter")]


def test_the_drawing_says_who_answers() -> None:
    drawn = mermaid(procedure_of())
    assert "by the second person" in drawn
    assert "by the customer" in drawn


def test_the_number_is_entered_by_the_digits_of_any_keypad() -> None:
    """As on the big screen and the phone: they stand as they are pressed, and enter sends them."""
    found = visit()
    found.say("joint seen")
    keys, text = KeypadState(), ""
    for number, key in enumerate([*"862", ENTER]):
        keys, text = press(found.plan, found.state, keys, key, found.state.now + 2_000 * (number + 1))
        if key == "6":
            assert keys.words == "86"
    assert text == "862"
    assert keypad(found.plan, found.state).digits == "number"
