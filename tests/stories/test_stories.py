"""Stories beside a procedure: what they hold it to, what they cover, and how a fault of either is told."""

from __future__ import annotations

import json
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.shipped import procedures_folder, shipped_procedures
from handsfree.stories.documentation import stories_text
from handsfree.stories.mutants import OPERATORS, faults_in
from handsfree.stories.running import read_stories, run_all, stories_in
from handsfree.stories.trying import outcome_of, outcomes, trials

PROCEDURE = """\
handsfree: 2
procedure: small
title: Small
purpose: One pressure, judged.
proves: [{says: standing pressure, by: [judged]}]
things:
  cover: {said: Cover, altered: removed, restored: fitted}
gates:
  - {id: off, kind: confirm, title: Cover off, source: a test, prompt: Cover off., done: [removed],
     alters: [cover], not_done: stop}
  - {id: read, kind: readings, title: Pressure, source: a test, needs: {cover: removed}, prompt: "Pressure?",
     ask: [{quantity: standing_pressure}], point: standing}
  - {id: judged, kind: verdict, title: Judged, source: a test,
     calculation: reading-in-limits, using: {readings: standing},
     limits: {quantity: standing_pressure, low: 18, high: 25, source: a test},
     branches: {within: back, too-close: back, outside: back-low, missing: back}}
  - {id: back, kind: restore, title: Cover on, source: a test, things: [cover]}
  - {id: finish, kind: finish, title: Finish, source: a test}
  - {id: back-low, kind: restore, title: Cover on, source: a test, things: [cover], then: stop}
  - {id: stop, kind: stop, title: Stop, source: a test, script: Boiler off. Report it.}
"""

STORIES = """\
handsfree: 2
stories_of: small
day: 2026-11-25
stories:
  - story: Just enough
    steps:
      - removed
      - say: one eight point zero
        expect: {asks: read-back, spoken: [One eight point zero], altered: [cover], gate: read}
      - key: confirmed
        expect: {verdict: {judged: within}, events: [verdict], elapsed: {most: 60}}
      - go: end
    ends: finished
    paper: {says: [Judged], never: [NOT PROVEN]}
  - story: A tenth too little
    shows: {standing_pressure: 17.9}
    steps: [{go: stopped, expect: {verdict: {judged: outside}}}]
    ends: open
"""


def files(folder: Path, stories: str = STORIES, procedure: str = PROCEDURE) -> Path:
    (folder / "small.yaml").write_text(procedure, encoding="utf-8")
    path = folder / "small.tests.yaml"
    path.write_text(stories, encoding="utf-8")
    return path


def changed(old: str, new: str, text: str = STORIES) -> str:
    assert old in text
    return text.replace(old, new, 1)


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["test", *map(str, arguments), "--jobs", "1"])
    assert done.exception is None or isinstance(done.exception, SystemExit | Problem), done.exception
    problem = str(done.exception) if isinstance(done.exception, Problem) else ""
    return (2 if problem else done.exit_code), done.output + problem


def test_stories_that_go_as_told_pass_and_say_what_they_cover(tmp_path: Path) -> None:
    code, told = run(files(tmp_path), "--unwalked")
    assert code == 0, told
    assert "2 of 2 stories go as told; gates 7 of 7, ways 7 of 10" in told
    assert "never left off by: not done" in told


@pytest.mark.parametrize("given", ["small.yaml", ".", "small.tests.yaml"])
def test_a_folder_a_procedure_and_a_file_of_stories_lead_to_them(tmp_path: Path, given: str) -> None:
    files(tmp_path)
    assert len(run_all(stories_in([tmp_path / given]))[0].results) == 2


FAULTS = [
    ("gate: read}", "gate: judged}", 9, "expected the gate judged, but the visit is at read"),
    ("asks: read-back", "asks: once-more", 9, "expected the question once-more, but it is read-back"),
    ("[One eight point zero]", "[One nine]", 9, 'expected to hear "One nine", but the tool said: One eight'),
    ("judged: within", "judged: outside", 11, "expected the verdict outside at judged, but it is within"),
    ("events: [verdict]", "events: [turned]", 11, "expected turned, which did not happen"),
    ("{most: 60}", "{most: 1}", 11, "expected 0 to 1 seconds"),
    ("altered: [cover], gate", "altered: [], gate", 9, "expected altered: nothing; but it is: cover"),
    ("    ends: finished", "    ends: incomplete", 13, "expected it to end incomplete, but it is finished"),
    ("says: [Judged]", "says: [Sealed in wax]", 6, 'the paper does not say "Sealed in wax"'),
    ("never: [NOT PROVEN]", "never: [Judged]", 6, 'the paper says "Judged"'),
    ("      - removed\n", "      - gobbledegook\n", 7, '"gobbledegook" was not understood at off'),
    ("      - removed\n", "      - {say: removed, understood: false}\n", 7, '"removed" was understood'),
    ("      - go: end\n", "      - go: elsewhere\n", 12, "did not come to elsewhere"),
    ("      - removed\n", "      - go: stopped\n", 7, "and did not come to stopped"),
]


@pytest.mark.parametrize(("old", "new", "line", "says"), FAULTS)
def test_what_is_not_as_told_fails_at_its_line(tmp_path: Path, old: str, new: str, line: int, says: str) -> None:
    code, told = run(files(tmp_path, changed(old, new)))
    assert code == 1
    assert says in told
    where = f"small.tests.yaml:{line}:" if "paper" not in says else "small.tests.yaml:5:"
    assert where in told, told


NAMES = [
    ("    steps:\n", "    undone: [offf]\n    steps:\n", "there is no gate 'offf'"),
    ("    steps:\n", "    shows: {standing_presure: 20}\n    steps:\n", "there is no quantity 'standing_presure'"),
    ("    steps:\n", "    chooses: {of: yes}\n    steps:\n", "there is no gate 'of'"),
    ("      - go: end\n", "      - {go: end, chooses: {read: high}}\n", "read has no answers to choose from"),
    (
        "      - go: end\n",
        "      - go: judged\n",
        "did not come to judged; it asks nothing, so go to a gate that asks",
    ),
]


@pytest.mark.parametrize(("old", "new", "says"), NAMES)
def test_a_story_cannot_name_what_its_procedure_has_not(tmp_path: Path, old: str, new: str, says: str) -> None:
    """It would go along as if nothing was said, and show nothing."""
    code, told = run(files(tmp_path, changed(old, new)))
    assert code == 1
    assert says in told


MUTANTS = [
    ("low: 18,", "low: 17,"),
    ("low: 18,", "low: 19,"),
    ("outside: back-low", "outside: back"),
    ("\n     alters: [cover], ", ""),
    ('prompt: "Pressure?"', 'prompt: "Pressure?", settle: {wait_seconds: 90, source: a test}, unsettled: back'),
]


@pytest.mark.parametrize(("old", "new"), MUTANTS)
def test_a_changed_procedure_fails_its_stories(tmp_path: Path, old: str, new: str) -> None:
    """Whatever `check` thinks of it."""
    code, told = run(files(tmp_path, procedure=changed(old, new, PROCEDURE)))
    assert code == 1, told


def test_too_little_covered_fails_by_the_file_or_by_an_option(tmp_path: Path) -> None:
    path = files(tmp_path, changed("day:", "coverage: {ways: 80}\nday:"))
    code, told = run(path)
    assert code == 1
    assert "70 % of the ways are covered, 80 % are asked for" in told
    assert "never left read by: not done" in told
    assert run(files(tmp_path), "--gates", "100", "--ways", "70")[0] == 0


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        (
            "ends: finished",
            "ends: perhaps",
            13,
            "there is no 'perhaps'; write one of: finished, incomplete, made-safe",
        ),
        ("asks: read-back", "asks: how-much", 9, "there is no 'how-much'; write one of: "),
        ("events: [verdict]", "events: [oracle]", 11, "there is no 'oracle'"),
        ("say: one eight", "sing: one eight", 8, "sing: there is no such key here"),
        ("key: confirmed", "key: confirmed\n        say: confirmed", 11, "one of say, key, go and wait"),
        ("stories_of: small", "stories_of: smaller", 2, "there is no smaller.yaml beside this file"),
    ],
)
def test_a_fault_of_the_file_is_told_at_its_line(tmp_path: Path, old: str, new: str, line: int, says: str) -> None:
    code, told = run(files(tmp_path, changed(old, new)))
    assert code == 2
    assert says in told
    assert f"small.tests.yaml:{line}" in told, told


def test_the_outcome_is_written_as_junit_and_as_json(tmp_path: Path) -> None:
    path = files(tmp_path, changed("judged: within", "judged: outside"))
    code, told = run(path, "--junit", tmp_path / "out.xml", "--json", "--ways", "90")
    assert code == 1
    suite = ET.parse(tmp_path / "out.xml").getroot()[0]
    assert (suite.tag, suite.get("name"), suite.get("tests"), suite.get("failures")) == (
        "testsuite",
        "small",
        "3",
        "2",
    )
    failed = [case.get("name") for case in suite if case.find("failure") is not None]
    assert failed == ["Just enough", "coverage"]
    assert suite[0].get("line") == "11"
    (found,) = json.loads(told)
    assert [one["passed"] for one in found["stories"]] == [False, True]
    assert ["off", "not done"] in found["never walked"]


@pytest.mark.slow("two processes of their own")
def test_stories_run_side_by_side_as_one_after_the_other(tmp_path: Path) -> None:
    found = stories_in([files(tmp_path)])
    assert [one.results[0].walked for one in run_all(found, 2)] == [
        one.results[0].walked for one in run_all(found)
    ]


def test_the_description_of_stories_is_the_one_that_is_generated() -> None:
    assert (procedures_folder() / "STORIES.md").read_text(encoding="utf-8") == stories_text()


SHIPPED = sorted((procedures_folder() / "tests").glob("*.tests.yaml"))


def test_every_shipped_procedure_has_stories_or_is_a_part_of_one_that_has() -> None:
    told = {file.name.split(".")[0] for file in SHIPPED}
    parts = {
        Path(one.file).stem
        for name in told
        for one in load_procedure(procedures_folder() / f"{name}.yaml").documents
    }
    shipped = {path.stem for path in shipped_procedures()}
    assert told <= shipped
    assert shipped - told <= parts


@pytest.mark.slow("dozens of whole visits: fifteen seconds")
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.name.split(".")[0])
def test_shipped_procedures_go_as_their_stories_tell(path: Path) -> None:
    (covered,) = run_all(stories_in([path]))
    assert [f"{one.place}: {one.fault}" for one in covered.failed] == []
    assert covered.too_little() == ()


@pytest.mark.slow("a procedure is proven and played for each fault")
def test_planted_faults_are_noticed_by_check_or_stories_and_survivors_are_listed(tmp_path: Path) -> None:
    """A limit moved by a tenth fails a story on its edge; a thing that stays off fails a proof; others survive."""
    path = files(tmp_path)
    found = outcomes([read_stories(path)])
    became = {(one.fault.operator, one.fault.what): one.caught for one in found}
    assert [one.caught for one in found if one.fault.operator == "looser limit"][:2] == ["story", "story"]
    assert became["lost need", "cover"] == "survives"
    assert {one.caught for one in found if one.fault.operator == "lost restore"} == {"check"}
    assert {one.fault.operator for one in found} <= set(OPERATORS)
    code, told = run(path, "--mutants", "--caught", "100")
    assert code == 1
    assert "planted faults are noticed" in told
    assert 'survives (looser): {file: "small", gate: "read", fault: "lost need", what: "cover"}' in told


def test_a_procedure_without_stories_is_told_how_to_begin_and_can_begin_so(tmp_path: Path) -> None:
    procedure = tmp_path / "pump-change.yaml"
    begun = tmp_path / "pump-change.tests.yaml"
    assert CliRunner().invoke(app, ["template", "pump-change", "--into", str(procedure)]).exit_code == 0
    code, told = run(procedure)
    assert code == 2
    assert told.startswith(f"{procedure}: this procedure has no stories: neither {begun} nor ")
    assert told.endswith(f"; begin with `handsfree template pump-change --stories --into {begun}`")
    made = CliRunner().invoke(app, ["template", "pump-change", "--stories", "--into", str(begun)])
    assert made.exit_code == 0, made.output
    assert run(procedure)[0] == 0
    assert run(tmp_path / "pump.yaml")[1].endswith("pump.yaml: there is no such file or folder; check the name")


def test_a_sheet_has_no_stories() -> None:
    done = CliRunner().invoke(app, ["template", "--sheet", "job", "--stories"])
    assert isinstance(done.exception, Problem)


def test_a_story_beside_a_part_notices_what_a_fault_there_changes(tmp_path: Path) -> None:
    """A need that the part lost changes nothing that the stories of the whole tell; its own ask for it."""
    shutil.copytree(procedures_folder(), tmp_path, dirs_exist_ok=True, ignore=shutil.ignore_patterns("*.md"))
    beside = read_stories(tmp_path / "tests" / "safe-isolation.tests.yaml")
    trial = next(one for one in trials([beside]) if faults_in(one.file)[one.number].operator == "lost need")
    found = outcome_of(trial)
    assert (trial.file.stem, found.caught) == ("isolated-and-dead", "story")
    assert found.by.endswith("(isolated-and-dead)")
    (tmp_path / "tests" / "isolated-and-dead.tests.yaml").unlink()
    assert outcome_of(trial).caught == "survives"


@pytest.mark.slow("two dozen faults, each with its proofs and stories")
@pytest.mark.parametrize("name", ["outlet-temperature", "safe-isolation"])
def test_proofs_and_stories_of_small_shipped_procedures_notice_every_planted_fault(name: str) -> None:
    """`handsfree test --mutants` on each of the shipped ones is for a release: minutes of the processor."""
    code, told = run(procedures_folder() / f"{name}.yaml", "--mutants", "--caught", "100")
    assert code == 0, told
