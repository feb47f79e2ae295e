"""Conditions of gates and parts: by facts of the sheets and by earlier answers, proven, spoken of and drawn.

No standard says how a procedure branches; the invented job sheets of the trades and the visits themselves are the
measure here. How many combinations are gone through, 4,096 at most, is the language's own rule.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from valves import HEAD, WITH_PART, WRITTEN, left, plan, procedure, visit

from handsfree.desk.not_asked import reasons
from handsfree.events import decisions as ev
from handsfree.gates.outcomes import NOT_ASKED
from handsfree.procedure.conditions_page import EXAMPLE_OF_CONDITIONS
from handsfree.procedure.documentation import language_text
from handsfree.procedure.proofs.check import check
from handsfree.questions.stop_step import StopStep
from handsfree.questions.stop_talk import StopTalk
from handsfree.session.exploring import explore_randomly


@pytest.mark.parametrize(
    ("at_risk", "store", "asked"),
    [("yes", "stored", "valve"), ("no", "stored", "store"), ("no", "instantaneous", "told")],
)
def test_the_sheets_decide_what_is_asked(tmp_path: Path, at_risk: str, store: str, asked: str) -> None:
    assert visit(plan(tmp_path, at_risk, store)).state.gate == asked


def test_an_earlier_answer_decides_and_the_last_one_counts(tmp_path: Path) -> None:
    of = plan(tmp_path, "yes", "instantaneous")
    assert left(visit(of, "still shut"))["cap-on"] == NOT_ASKED
    opened = visit(of, "still shut", "go back", "left open", "removed")
    assert opened.state.gate == "cap-on"
    assert left(visit(of, "left open", "removed", "fitted", "confirmed"))["cap-on"] == "done"


def test_going_back_stops_only_where_something_was_asked(tmp_path: Path) -> None:
    """The store is passed over, so "go back" from the end leads to the valve."""
    assert visit(plan(tmp_path, "yes", "instantaneous"), "still shut", "go back").state.gate == "valve"


def test_what_was_called_wrong_is_taken_back_past_a_gate_that_was_not_asked(tmp_path: Path) -> None:
    """The second choice is passed over: led back to it, the visit came on again with the wrong answer."""
    again = WRITTEN[WRITTEN.index("  - id: valve") : WRITTEN.index("  - {id: cap-off")]
    for old, new in (("id: valve", "id: again"), ("then: store", "then: told"), ("then: cap-off", "then: told")):
        again = again.replace(old, new)
    again = again.replace('job.people_at_risk: "yes"', "appliance.store: stored").replace("otherwise: store", "")
    text = WRITTEN.replace("  - {id: told", f"{again}  - {{id: told", 1)
    back = visit(plan(tmp_path, "yes", "instantaneous", text), "still shut", "that was wrong")
    assert left(back)["again"] == NOT_ASKED
    assert back.state.gate == "valve"


STOPPED = (
    HEAD.replace("{says: valve, by: [valve]}, ", "")
    + """\
  - id: valve
    kind: choice
    title: Valve
    source: own
    prompt: "Valve: still shut, or left open?"
    answers:
      sealed: {heard: [still shut], then: told}
      open: {heard: [left open], then: store}
    not_done: told
  - {id: store, kind: confirm, title: Store, source: own, when: {appliance.store: stored},
     prompt: Look at the store., done: [looked], then: left-open}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
  - {id: left-open, kind: stop, title: Left open, source: own, script: Shut the valve. Report it.}
"""
)


def test_an_answer_that_was_taken_back_decides_nothing_and_the_one_before_stands(tmp_path: Path) -> None:
    """Red, then once more round: green, and two steps back before it. Green decided still."""
    rounds = "".join(
        f"""\
  - id: {name}
    kind: choice
    title: {name}
    source: own
    prompt: "Which?"
    answers:
      a: {{heard: [{one}], then: {a}}}
      b: {{heard: [{other}], then: {b}}}
    not_done: {b}
"""
        for name, one, a, other, b in (
            ("way", "mark it", "mark", "leave it so", "round"),
            ("mark", "red one", "round", "green one", "round"),
            ("round", "once round", "way", "move along", "store"),
        )
    )
    store = """\
  - {id: store, kind: confirm, title: Store, source: own, when: {mark: a}, prompt: Look., done: [looked]}
"""
    end = WRITTEN[WRITTEN.index("  - {id: told") :]
    of = plan(tmp_path, "yes", "stored", HEAD.replace("{says: valve, by: [valve]}, ", "") + rounds + store + end)
    words = ("mark it", "red one", "once round", "mark it", "green one", "go back", "go back")
    back = visit(of, *words)
    assert back.state.gate == "way"
    assert visit(of, *words, "leave it so", "move along").state.gate == "store"


def test_after_a_stop_the_work_goes_on_where_something_was_asked(tmp_path: Path) -> None:
    """The store was passed over on the way to the stop: nothing opens it, whatever its conditions."""
    of = plan(tmp_path, "yes", "instantaneous", STOPPED)
    made = visit(of, "left open", "put right")
    while made.state.status == "stopped":
        question = made.state.question
        assert isinstance(question, StopStep | StopTalk)
        step = of.catalogue.stops.steps[question.step]
        made.say("valve shut" if step.told else of.catalogue.steps[question.step].answers[step.on[0]][0])
        made.until_asking()
    assert left(made)["store"] == NOT_ASKED
    assert made.state.gate == "valve"


def test_what_is_left_counts_nothing_that_the_sheets_rule_out(tmp_path: Path) -> None:
    def count(at_risk: str, store: str) -> int:
        of = plan(tmp_path, at_risk, store)
        said = [one.text for one in visit(of, "what is left").events if isinstance(one, ev.Said)]
        return next(int(word) for text in said for word in text.split() if word.isdigit())

    assert count("no", "stored") == count("no", "instantaneous") + 1


def test_what_no_gate_can_show_on_this_job_is_not_lacking(tmp_path: Path) -> None:
    """With nobody at risk no valve is wanted; where somebody is, one left undone leaves the visit incomplete."""
    assert visit(plan(tmp_path, "no", "stored"), "looked", "told", "confirmed").state.outcome == "finished"
    undone = visit(plan(tmp_path, "yes", "stored"), "not done because locked", "looked", "told", "confirmed")
    assert undone.state.outcome == "incomplete"
    assert [one.what for one in undone.state.lacking] == ["valve"]


def test_a_part_is_gone_through_only_when_its_conditions_hold(tmp_path: Path) -> None:
    inside = visit(plan(tmp_path, "no", "stored", WITH_PART))
    assert (inside.state.gate, left(inside)) == ("store-part/store", {"store-part": "done"})
    past = visit(plan(tmp_path, "no", "instantaneous", WITH_PART), "told", "confirmed")
    assert left(past)["store-part"] == NOT_ASKED
    assert past.state.outcome == "finished"
    assert check(procedure(tmp_path, WITH_PART)).findings == ()


@pytest.mark.slow("twelve visits at random")
def test_visits_at_random_take_every_way_of_a_condition(tmp_path: Path) -> None:
    """They invent the facts that decide, whatever the sheet at hand says."""
    of = plan(tmp_path, "no", "stored")
    coverage = explore_randomly(of, date(2026, 11, 28), 12)
    assert coverage.faults == []
    assert {("valve", NOT_ASKED), ("valve", "open"), ("store", NOT_ASKED), ("store", "done")} <= coverage.passed


@pytest.mark.slow("it writes the whole page of the language")
def test_the_example_of_the_language_s_page_is_proven(tmp_path: Path) -> None:
    """It stands on the page as it is loaded here."""
    assert EXAMPLE_OF_CONDITIONS in language_text()
    text = HEAD.replace("cap: {said: Cap, altered: removed, restored: fitted}", "").replace("things:\n", "")
    text = text.rstrip() + "\n" + EXAMPLE_OF_CONDITIONS + WRITTEN[WRITTEN.index("  - {id: told") :]
    found = check(procedure(tmp_path, text)).findings
    assert found == ()


def test_the_papers_say_why_a_gate_was_not_asked(tmp_path: Path) -> None:
    """By the sheet, and by the answer, in words; nothing is told of a gate that was asked."""
    of = plan(tmp_path, "yes", "instantaneous")
    made = visit(of, "still shut", "told", "confirmed")
    told = reasons(of, enumerate(made.events))
    why = {event.gate: told[at] for at, event in enumerate(made.events) if at in told}
    assert why == {"store": "the appliance sheet says store: instantaneous", "cap-on": "“Valve” gave: sealed"}
    assert set(reasons(None, enumerate(made.events)).values()) == {"its conditions cannot be read"}
