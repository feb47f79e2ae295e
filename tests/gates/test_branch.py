"""A branch follows a choice of the sheet or an earlier answer; the proofs know what it follows."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handsfree.events import decisions as ev
from handsfree.gates.branch import OTHERWISE
from handsfree.problem import Problem
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

SHEETS = Path(__file__).parents[2] / "handsfree" / "trades" / "plumbing" / "example"
WRITTEN = """\
handsfree: 2
procedure: valves
trade: plumbing
title: Mixing valves
purpose: Mixing valves are looked at where somebody may be scalded.
proves:
  - {says: valves, by: [seen, none-wanted]}
cautions: [Local code and the maker's manual come first.]
things:
  cap: {said: Cap, altered: removed, restored: fitted}
gates:
  - id: at-risk
    kind: branch
    title: People at risk
    source: common practice, no source
    fact: job.people_at_risk
    branches: {"yes": look, "no": none-wanted}
    otherwise: look
  - id: look
    kind: choice
    title: Valve
    source: common practice, no source
    prompt: "Valve: still shut, or left open?"
    answers:
      sealed: {heard: [still shut], then: seen}
      open: {heard: [left open], then: cap-off}
    then: seen
  - id: cap-off
    kind: confirm
    title: Cap off
    source: common practice, no source
    prompt: Take off the cap.
    done: [removed]
    alters: [cap]
    not_done: false
  - id: seen
    kind: confirm
    title: Valve seen
    source: common practice, no source
    prompt: Look at the valve.
    done: [looked]
  - id: opened
    kind: branch
    title: Opened before
    source: common practice, no source
    answer: look
    branches: {open: cap-on}
    otherwise: told
  - id: cap-on
    kind: restore
    title: Cap on
    source: common practice, no source
    things: [cap]
    then: told
  - id: none-wanted
    kind: confirm
    title: No valve wanted
    source: common practice, no source
    prompt: No mixing valve wanted.
    done: [none wanted]
  - id: told
    kind: confirm
    title: Told
    source: common practice, no source
    prompt: Tell the owner.
    done: [told]
  - id: finish
    kind: finish
    title: Finish
    source: common practice, no source
"""


def procedure(folder: Path, text: str = WRITTEN) -> Procedure:
    path = folder / "valves.yaml"
    path.write_text(text, encoding="utf-8")
    return load_procedure(path)


def visit(folder: Path, at_risk: str, *words: str) -> Rehearsal:
    (folder / "heater.yaml").write_text((SHEETS / "heater.yaml").read_text("utf-8"), "utf-8")
    text = (
        (SHEETS / "jobsheet.yaml")
        .read_text("utf-8")
        .replace('people_at_risk: "no"', f'people_at_risk: "{at_risk}"')
    )
    (folder / "jobsheet.yaml").write_text(text, "utf-8")
    sheets, _ = load_sheets(folder / "jobsheet.yaml")
    made = Rehearsal(Plan(procedure(folder), sheets).check(), date(2026, 11, 28))
    for one in words:
        made.until_asking()
        made.say(one)
    made.until_asking()
    return made


def left(visit: Rehearsal, gate: str) -> list[str]:
    return [one.outcome for one in visit.events if isinstance(one, ev.GatePassed) and one.gate == gate]


def test_the_sheet_decides_and_nothing_is_asked(tmp_path: Path) -> None:
    assert visit(tmp_path, "no").state.gate == "none-wanted"
    asked = visit(tmp_path, "yes")
    assert (asked.state.gate, left(asked, "at-risk")) == ("look", ["yes"])


def test_an_earlier_answer_decides(tmp_path: Path) -> None:
    """The cap is put back only where it was taken off."""
    opened = visit(tmp_path, "yes", "left open", "removed", "looked")
    assert (opened.state.gate, left(opened, "opened")) == ("cap-on", ["open"])
    sealed = visit(tmp_path, "yes", "still shut", "looked")
    assert (sealed.state.gate, left(sealed, "opened")) == ("told", [OTHERWISE])


def test_the_last_answer_decides_after_going_back(tmp_path: Path) -> None:
    done = visit(tmp_path, "yes", "still shut", "looked", "go back", "go back", "left open", "removed", "looked")
    assert left(done, "opened") == [OTHERWISE, "open"]


def test_the_proofs_know_that_what_was_opened_is_closed(tmp_path: Path) -> None:
    """No story opens it, then takes the way of one that was sealed."""
    assert check(procedure(tmp_path)).findings == ()


@pytest.mark.parametrize(
    ("old", "new", "proof"),
    [
        ("branches: {open: cap-on}", "branches: {sealed: cap-on}", "restored"),
        ("answer: look", "answer: seen", None),
        ('"yes": look, "no": none-wanted', '"yes": none-wanted, "no": none-wanted', None),
    ],
)
def test_a_branch_that_follows_the_wrong_thing_is_found(
    tmp_path: Path, old: str, new: str, proof: str | None
) -> None:
    """By the proof that it breaks, or when the file is read."""
    text = WRITTEN.replace(old, new, 1)
    if proof is None and "answer" in old:
        with pytest.raises(Problem, match="seen is never 'open'"):
            procedure(tmp_path, text)
        return
    findings = check(procedure(tmp_path, text)).findings
    if proof is None:  # every sheet says yes or no, so that `otherwise` is no way
        assert {one.proof for one in findings} == {"reachable"}
        return
    assert {one.proof for one in findings} == {proof}
    assert "cap" in findings[0].what.lower()


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("job.people_at_risk", "job.people", 16, "the job sheet has no fact 'people'"),
        ("job.people_at_risk", "job.serial", 16, "job.serial is no choice"),
        ('"no": none-wanted', '"never": none-wanted', 17, "job.people_at_risk is never 'never'"),
        ("answer: look", "answer: looked", 46, "there is no gate 'looked'"),
        ("branches: {open: cap-on}", "branches: {shut: cap-on}", 47, "look is never 'shut'"),
        ("fact: job.people_at_risk", "fact: job.people_at_risk\n    answer: look", 16, "`fact` or `answer`"),
    ],
)
def test_only_what_is_declared_decides(tmp_path: Path, old: str, new: str, line: int, says: str) -> None:
    assert old in WRITTEN
    with pytest.raises(Problem) as refused:
        procedure(tmp_path, WRITTEN.replace(old, new, 1))
    assert says in str(refused.value)
    assert f"valves.yaml:{line}" in str(refused.value)


TWO = """\
handsfree: 2
procedure: valves
trade: plumbing
title: Two branches
purpose: Two branches on one fact tell other choices apart.
proves: [{says: told, by: [told]}]
cautions: [Local code and the maker's manual come first.]
things:
  cap: {said: Cap, altered: removed, restored: fitted}
gates:
  - {id: first, kind: branch, title: First, source: own, fact: appliance.store, branches: {stored: second},
     otherwise: cap-off}
  - {id: cap-off, kind: confirm, title: Cap off, source: own, prompt: Take off the cap., done: [removed],
     alters: [cap], not_done: false}
  - {id: second, kind: branch, title: Second, source: own, fact: appliance.store, branches: {instantaneous: told},
     otherwise: cap-on}
  - {id: cap-on, kind: restore, title: Cap on, source: own, things: [cap]}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
"""


def test_otherwise_is_another_thing_at_branches_that_tell_other_choices_apart(tmp_path: Path) -> None:
    """With an instantaneous heater the cap comes off at the first and is passed by at the second."""
    assert {one.proof for one in check(procedure(tmp_path, TWO)).findings} == {"restored"}
