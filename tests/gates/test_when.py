"""Conditions of gates and parts: by facts of the sheets and by earlier answers, proven, spoken of and drawn.

No standard says how a procedure branches; the invented job sheets of the trades and the visits themselves are the
measure here. How many combinations are gone through, 4,096 at most, is the language's own rule.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handsfree.desk.not_asked import reasons
from handsfree.events import decisions as ev
from handsfree.gates.outcomes import NOT_ASKED
from handsfree.problem import Problem
from handsfree.procedure.cards import card_of
from handsfree.procedure.comparison import changes
from handsfree.procedure.conditions_page import EXAMPLE_OF_CONDITIONS
from handsfree.procedure.documentation import language_text
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import load_sheets
from handsfree.questions.stop_step import StopStep
from handsfree.questions.stop_talk import StopTalk
from handsfree.session.exploring import explore_randomly
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

SHEETS = Path(__file__).parents[2] / "handsfree" / "trades" / "plumbing" / "example"
HEAD = """\
handsfree: 2
procedure: valves
trade: plumbing
title: Mixing valves
purpose: Mixing valves are looked at where somebody may be scalded.
proves: [{says: valve, by: [valve]}, {says: told, by: [told]}]
cautions: [Local code and the maker's manual come first.]
things:
  cap: {said: Cap, altered: removed, restored: fitted}
gates:
"""
WRITTEN = (
    HEAD
    + """\
  - id: valve
    kind: choice
    title: Valve
    source: common practice, no source
    when: {job.people_at_risk: "yes"}
    otherwise: store
    prompt: "Valve: still shut, or left open?"
    answers:
      sealed: {heard: [still shut], then: store}
      open: {heard: [left open], then: cap-off}
    then: store
  - {id: cap-off, kind: confirm, title: Cap off, source: own, prompt: Take off the cap., done: [removed],
     alters: [cap], not_done: false}
  - {id: store, kind: confirm, title: Store, source: own, when: {appliance.store: stored},
     prompt: Look at the store., done: [looked]}
  - {id: cap-on, kind: restore, title: Cap on, source: own, when: {valve: [open]}, things: [cap]}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
"""
)
PART = """\
handsfree: 2
procedure: part
trade: plumbing
title: A part
purpose: The store is looked at.
cautions: [Hot water.]
exits: [done]
gates:
  - {id: store, kind: confirm, title: Store, source: own, prompt: Look at the store., done: [looked],
     then: exit done}
"""
WITH_PART = (
    HEAD.replace("{says: valve, by: [valve]}", "{says: store, by: [store-part/store]}")
    + """\
  - {id: store-part, kind: include, file: part.yaml, when: {appliance.store: stored}, title: Store looked at,
     exits: {done: told}}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
"""
)


def procedure(folder: Path, text: str = WRITTEN) -> Procedure:
    path = folder / "valves.yaml"
    path.write_text(text, encoding="utf-8")
    (folder / "part.yaml").write_text(PART, encoding="utf-8")
    return load_procedure(path)


def plan(folder: Path, at_risk: str, store: str, text: str = WRITTEN) -> Plan:
    heater = (SHEETS / "heater.yaml").read_text("utf-8")
    (folder / "heater.yaml").write_text(heater.replace("store: stored", f"store: {store}"), "utf-8")
    job = (SHEETS / "jobsheet.yaml").read_text("utf-8")
    job = job.replace('people_at_risk: "no"', f'people_at_risk: "{at_risk}"')
    (folder / "jobsheet.yaml").write_text(job, "utf-8")
    return Plan(procedure(folder, text), load_sheets(folder / "jobsheet.yaml")[0]).check()


def visit(plan: Plan, *words: str) -> Rehearsal:
    made = Rehearsal(plan, date(2026, 11, 28))
    for one in words:
        made.until_asking()
        made.say(one)
    made.until_asking()
    return made


def left(visit: Rehearsal) -> dict[str, str]:
    return {one.gate: one.outcome for one in visit.events if isinstance(one, ev.GatePassed)}


def proofs(folder: Path, text: str) -> set[str]:
    return {one.proof for one in check(procedure(folder, text)).findings}


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


def test_the_proofs_go_through_each_combination(tmp_path: Path) -> None:
    """Nothing stays altered: the cap is put back on just those visits that took it off."""
    assert check(procedure(tmp_path)).findings == ()


@pytest.mark.parametrize(
    ("old", "new", "proof"),
    [
        ("when: {valve: [open]}", "when: {valve: [sealed]}", "restored"),
        ("when: {valve: [open]}", "when: {valve: [open], appliance.store: stored}", "restored"),
        ("when: {appliance.store: stored},", "needs: {cap: fitted},", "needs"),
        ("done: [removed],", 'done: [removed], when: {job.people_at_risk: "no"},', "reachable"),
    ],
)
def test_a_condition_that_breaks_a_proof_is_found(tmp_path: Path, old: str, new: str, proof: str) -> None:
    assert old in WRITTEN
    assert proof in proofs(tmp_path, WRITTEN.replace(old, new, 1))


def test_a_story_tells_the_sheet_that_it_happens_with(tmp_path: Path) -> None:
    text = WRITTEN.replace("when: {valve: [open]}", "when: {valve: [open], appliance.store: stored}")
    found = next(one for one in check(procedure(tmp_path, text)).findings if one.proof == "restored")
    said = {beat.gate: beat.said for beat in found.story}
    assert said["cap-on"] == "(not asked: valve other than open, appliance.store other than stored)"
    assert said["store"] == "(not asked: appliance.store other than stored)"


def test_a_need_counts_only_where_the_gate_is_asked(tmp_path: Path) -> None:
    """Asked only after the cap came off, it may need the cap off."""
    text = WRITTEN.replace("when: {valve: [open]}, things", "when: {valve: [open]}, needs: {cap: removed}, things")
    assert proofs(tmp_path, text) == set()


def test_whether_a_second_person_is_asked_does_not_hang_on_an_answer(tmp_path: Path) -> None:
    told = "{id: told, kind: confirm, title: Told, source: own,"
    by = f"{told} answered_by: second person, not_done: cap-on, "
    assert "second-person" in proofs(tmp_path, WRITTEN.replace(told, f"{by} when: {{valve: [open]}},"))
    assert "second-person" not in proofs(
        tmp_path, WRITTEN.replace(told, f"{by} when: {{appliance.store: stored}},")
    )


def test_a_branch_follows_no_answer_that_a_used_up_bound_took_the_place_of(tmp_path: Path) -> None:
    """The gate was left open once, then shut, then its bound was used up: the branch is that of neither.

    The proof took the answer before for the last one, and found the cap put back.
    """
    text = (
        HEAD.replace("{says: valve, by: [valve]}, ", "")
        + """\
  - id: valve
    kind: choice
    title: Valve
    source: own
    at_most: 1
    exhausted: opened
    prompt: "Valve: still shut, or left open?"
    answers:
      sealed: {heard: [still shut], then: opened}
      open: {heard: [left open], then: cap-off}
    not_done: opened
  - {id: cap-off, kind: confirm, title: Cap off, source: own, prompt: Take off the cap., done: [removed],
     alters: [cap], not_done: false, then: valve}
  - {id: opened, kind: branch, title: Opened, source: own, answer: valve, branches: {open: cap-on},
     otherwise: told}
  - {id: cap-on, kind: restore, title: Cap on, source: own, things: [cap]}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
"""
    )
    assert "restored" in proofs(tmp_path, text)


@pytest.mark.parametrize(
    ("old", "new", "caret", "says"),
    [
        (
            "appliance.store: stored",
            "appliance.stor: stored",
            "appliance.stor:",
            "did you mean 'appliance.store'?",
        ),
        ("appliance.store: stored", "appliance.store: storred", "storred", "did you mean 'stored'?"),
        ("appliance.store: stored", "appliance.manual: a", "appliance.manual", "appliance.manual is no choice"),
        ("valve: [open]", "valv: [open]", "valv:", "there is no gate 'valv'; did you mean 'valve'?"),
        ("valve: [open]", "valve: [open, opend]", "opend", "valve is never 'opend'; did you mean 'open'?"),
        ("valve: [open]", "cap-on: [done]", "cap-on: [", "cap-on cannot decide about itself"),
        ("store: stored", "store: [stored, instantaneous]", "[stored, inst", "so it decides nothing"),
        ("title: Finish,", "title: Finish, when: {valve: open},", "{valve: open},", "ends the visit"),
        ("title: Told,", "title: Told, otherwise: finish,", "finish, source", "`otherwise`, and no `when`"),
        ("otherwise: store", "not_done: store", '{job.people_at_risk: "yes', "no way for when it does not hold"),
    ],
)
def test_only_what_is_declared_decides(tmp_path: Path, old: str, new: str, caret: str, says: str) -> None:
    """With the caret on the word, and the nearest name."""
    text = WRITTEN.replace("    then: store\n  - {id: cap-off", "    not_done: store\n  - {id: cap-off", 1)
    text = text.replace("    not_done: store\n", "", 1) if new.startswith("not_done") else text
    assert old in text
    text = text.replace(old, new, 1)
    before = text[: text.index(caret)]
    at = f"{1 + before.count(chr(10))}:{1 + len(before.rpartition(chr(10))[2])}"
    with pytest.raises(Problem) as refused:
        procedure(tmp_path, text)
    assert says in str(refused.value)
    assert f"valves.yaml:{at}: " in str(refused.value)


def test_more_than_4096_combinations_are_refused_at_the_condition_that_makes_them_too_many(tmp_path: Path) -> None:
    """Five choices of six values (four answers, not done, not come to) make 7,776; the first four 1,296."""
    gates = "".join(
        f"""\
  - id: asked-{word}
    kind: choice
    title: Asked {word}
    source: own
    prompt: "One, two, three or four?"
    answers:
      a: {{heard: [first one], then: seen-{word}}}
      b: {{heard: [second one], then: seen-{word}}}
      c: {{heard: [third one], then: seen-{word}}}
      d: {{heard: [fourth one], then: told}}
    then: seen-{word}
  - {{id: seen-{word}, kind: confirm, title: Seen {word}, source: own, prompt: Look., done: [looked],
     when: {{asked-{word}: a}}}}
"""
        for word in ("one", "two", "three", "four", "five")
    )
    text = HEAD.replace("{says: valve, by: [valve]}, ", "") + gates + WRITTEN[WRITTEN.index("  - {id: told") :]
    with pytest.raises(Problem, match="7,776 combinations, and 4,096 are the most") as refused:
        procedure(tmp_path, text)
    line = 1 + text[: text.index("when: {asked-five")].count("\n")
    assert f"valves.yaml:{line}:13" in str(refused.value)


def test_the_card_and_the_ways_show_the_condition(tmp_path: Path) -> None:
    drawn = procedure(tmp_path)
    card = card_of(drawn, drawn.gates["cap-on"])
    assert "asked when: valve is open" in [line.text for line in card.lines]
    assert (NOT_ASKED, "told") in [(way, one.to) for one in card.ways for way in one.outcomes]


@pytest.mark.parametrize(
    ("old", "new", "weights"),
    [
        ("when: {valve: [open]}, ", "", {"tighter"}),
        ("when: {valve: [open]}", "when: {valve: [open, sealed]}", {"tighter"}),
        ("when: {valve: [open]}", "when: {valve: [sealed]}", {"looser"}),
        ("title: Told, ", "title: Told, when: {appliance.store: stored}, ", {"looser"}),
        (
            "when: {appliance.store: stored},",
            'when: {appliance.store: stored, job.people_at_risk: "no"},',
            {"looser"},
        ),
    ],
)
def test_a_changed_condition_is_weighed(tmp_path: Path, old: str, new: str, weights: set[str]) -> None:
    assert old in WRITTEN
    was = procedure(tmp_path)
    now = procedure(tmp_path, WRITTEN.replace(old, new, 1))
    assert {one.weight for one in changes(was, now)} == weights


def test_a_part_that_gets_a_condition_is_looser(tmp_path: Path) -> None:
    always = WITH_PART.replace("when: {appliance.store: stored}, title: Store looked at,\n    ", "")
    was, now = procedure(tmp_path, always), procedure(tmp_path, WITH_PART)
    assert "looser" in {one.weight for one in changes(was, now)}
    assert {one.weight for one in changes(now, was) if one.aspect == "gates"} == {"tighter"}


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
