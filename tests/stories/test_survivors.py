"""Planted faults of several procedures: a shared part once, and survivors that an author accepts with a reason."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.problem import Problem
from handsfree.shipped import procedures_folder
from handsfree.stories.accepted import reasons
from handsfree.stories.mutants import FaultName, faults_in
from handsfree.stories.running import read_stories, stories_in
from handsfree.stories.trying import MutantOutcome, Trial, outcome_of, trials

TAP = """\
handsfree: 2
procedure: tap
title: Tap
purpose: A tap, closed and opened.
proves: [{says: tap tried, by: [turned]}]
things:
  tap: {said: Tap, altered: closed, restored: open}
gates:
  - {id: shut, kind: confirm, title: Tap closed, source: a test, prompt: Close the tap., done: [closed],
     alters: [tap], not_done: false}
  - {id: turned, kind: confirm, title: Tap tried, source: a test, needs: {tap: closed}, prompt: Try it.,
     done: [tried]}
  - {id: back, kind: restore, title: Tap open, source: a test, things: [tap]}
  - {id: finish, kind: finish, title: Finish, source: a test}
"""
STORIES = """\
handsfree: 2
stories_of: tap
day: 2026-11-25
stories:
  - story: The tap is tried
    steps: [{go: end}]
    ends: finished
"""
ACCEPTED = """\
accepted:
  - because: Nothing can open the tap between the two gates.
    faults:
      - {file: tap, gate: turned, fault: lost need, what: tap}
"""
ASKED_FOR = """\
  - story: The tap was opened meanwhile
    steps:
      - go: turned
      - stop work
      - put right
      - confirmed
      - say: open
      - say: confirmed
        expect: {asks: thing-first}
    ends: open
"""
NEED = FaultName("tap", "turned", "lost need", "tap")


def files(folder: Path, accepted: str = ACCEPTED) -> Path:
    (folder / "tap.yaml").write_text(TAP, encoding="utf-8")
    path = folder / "tap.tests.yaml"
    path.write_text(STORIES + accepted, encoding="utf-8")
    return path


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["test", *map(str, arguments), "--mutants", "--jobs", "1"])
    problem = str(done.exception) if isinstance(done.exception, Problem) else ""
    return (2 if problem else done.exit_code), done.output + problem


def became(path: Path, name: FaultName) -> MutantOutcome:
    """Return what really becomes of a fault, by proofs and stories."""
    (trial,) = (one for one in trials([read_stories(path)]) if faults_in(one.file)[one.number].name == name)
    return outcome_of(trial)


def test_an_accepted_survivor_is_told_with_its_reason_and_counts_as_not_noticed(tmp_path: Path) -> None:
    code, told = run(files(tmp_path), "--explained")
    assert code == 0, told
    assert (
        "7 of 8 planted faults are noticed (87.5 %): 7 by check, 0 by stories; of the others 1 explained, 0 un"
        in told
    )
    assert f"explained, survives (looser): {NEED}: Nothing can open the tap between the two gates." in told


def test_an_unexplained_survivor_fails_where_that_is_asked_for(tmp_path: Path) -> None:
    """Only the fault that survives is tried, so that the command is quick: it is the seventh."""
    path = files(tmp_path, "")
    every = next(n for n, one in enumerate(faults_in((tmp_path / "tap.yaml").resolve())) if one.name == NEED)
    assert every > 0
    code, told = run(path, "--explained", "--every", every)
    assert (code, f"  survives (looser): {NEED}" in told) == (1, True), told
    assert run(path, "--every", every)[0] == 0


def test_a_reason_is_refused_at_its_line_once_a_story_notices_the_fault(tmp_path: Path) -> None:
    path = files(tmp_path, ASKED_FOR + ACCEPTED)
    line = 1 + path.read_text("utf-8").splitlines().index(
        "      - {file: tap, gate: turned, fault: lost need, what: tap}"
    )
    with pytest.raises(Problem, match="a story notices this fault now: The tap was opened meanwhile") as refused:
        reasons([read_stories(path)], [became(path, NEED)])
    assert f"tap.tests.yaml:{line}:" in str(refused.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("gate: turned", "gate: shut", "no such fault is planted into this procedure"),
        ("what: tap", "what: cover", "no such fault is planted into this procedure; there it is one of: {file"),
        ("{file: tap,", "{file: pump,", "no such fault is planted"),
        ("lost need", "lost needs", "there is no 'lost needs'; write one of: looser limit"),
        ("what: tap}", "what: tap}\n      - {gate: turned, fault: lost need, what: tap}", "accepted twice"),
        ("because: Nothing can open the tap between the two gates.", "because: so", "at least 10 characters"),
    ],
)
def test_a_wrong_reason_is_refused_at_its_line_before_anything_is_tried(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    assert old in ACCEPTED
    code, told = run(files(tmp_path, ACCEPTED.replace(old, new, 1)))
    assert (code, says in told, "tap.tests.yaml:" in told) == (2, True, True), told


def test_a_fault_of_a_shared_part_is_tried_once_by_the_smallest_procedure_first() -> None:
    folder = procedures_folder()
    found = stories_in([folder / f"{name}.yaml" for name in ("annual-service", "commissioning", "gas-on")])
    tried = trials(found)
    assert len(tried) == len({(one.file, one.number) for one in tried})
    shared = next(one for one in tried if one.file.stem == "gas-on")
    assert [path.name.split(".")[0] for path in shared.stories] == ["gas-on", "annual-service", "commissioning"]
    alone = trials(stories_in([folder / "gas-on.yaml"]))
    assert [(one.file, one.number) for one in alone] == [
        (one.file, one.number) for one in tried if one.file.stem == "gas-on"
    ]


def test_a_fault_counts_as_noticed_when_the_stories_of_any_procedure_notice_it(tmp_path: Path) -> None:
    """Two files of stories: those of the one do not notice, those of the other do."""
    quiet = files(tmp_path, "")
    (tmp_path / "tests").mkdir()
    asking = tmp_path / "tests" / "tap.tests.yaml"
    asking.write_text(STORIES + ASKED_FOR, encoding="utf-8")
    (alone,) = (one for one in trials([read_stories(quiet)]) if faults_in(one.file)[one.number].name == NEED)
    assert outcome_of(alone).caught == "survives"
    both = outcome_of(Trial(alone.file, alone.number, (quiet, asking)))
    assert (both.caught, both.by) == ("story", "The tap was opened meanwhile")
    assert both.stories == (quiet, asking)


def test_every_planted_fault_has_a_name_of_its_own_and_the_shipped_reasons_name_some() -> None:
    files = [*procedures_folder().glob("*.yaml")]
    names = [fault.name for file in files for fault in faults_in(file)]
    assert len(names) == len(set(names))
    reasons(stories_in([procedures_folder()]))
