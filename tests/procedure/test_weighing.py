"""Every change of a procedure weighs: looser, tighter, neutral or wording; and reviewers' tools are told so."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner
from workshop import PROVEN, procedure_of

from handsfree.commands.app import app
from handsfree.procedure.comparison import Change, changes
from handsfree.procedure.weighing import of_text

SARIF = json.loads(Path(__file__).with_name("data").joinpath("sarif-schema-2.1.0.json").read_text("utf-8"))

LIMITED = PROVEN.replace(
    "calculation: supply-pressure\n    using: {standing: standing, working: working}\n"
    "    branches: {within: flue, outside: stop-fault, no-limit: flue, missing: stop-fault}",
    "calculation: reading-in-limits\n    using: {readings: standing}\n"
    "    limits: {quantity: standing_pressure, low: 17, high: 25, accuracy: 0.2, source: the regulation}\n"
    "    branches: {within: flue, too-close: flue, outside: stop-fault, missing: stop-fault}",
)

WEIGHED = [
    # The kinds of fault that a comparison without weights let pass, each with its likes: limits widened or wrong,
    # accuracy, order, words, bounds, what is recorded and what is watched.
    ("looser", "low: 17, high", "low: 16, high"),
    ("looser", "high: 25, accuracy", "high: 70, accuracy"),
    ("looser", "low: 17, high: 25", "high: 25"),
    ("looser", "accuracy: 0.2", "accuracy: 2"),
    ("looser", "quantity: standing_pressure, low: 17", "quantity: working_pressure, low: 17"),
    ("tighter", "low: 17, high", "low: 18, high"),
    ("tighter", "high: 25, accuracy", "high: 24, accuracy"),
    ("neutral", "source: the regulation}", "source: the regulation of 2027}"),
    ("looser", "low: 0.1, high: 75", "low: 0.1, high: 80"),
    ("tighter", "low: 0.1, high: 75", "low: 0.1, high: 70"),
    ("looser", "at_most: 4", "at_most: 40"),
    ("tighter", "at_most: 4", "at_most: 3"),
    ("looser", "wait_seconds: 180", "wait_seconds: 90"),
    ("tighter", "wait_seconds: 180", "wait_seconds: 240"),
    ("tighter", "wait_seconds: 180, source", "wait_seconds: 180, sets: 4, source"),
    ("looser", "things: [rate-hold, set-point]", "things: [set-point, rate-hold]"),
    ("looser", "done: [removed]", "done: [taken off]"),
    ("looser", "done: [removed]", "done: [removed, taken off]"),
    ("looser", "prompt: Hold maximum.", "prompt: Hold minimum."),
    ("wording", "prompt: Hold maximum.", "prompt: Now hold maximum."),
    ("looser", "prompt: Cover off.", "prompt: Cover fitted."),
    ("wording", "title: Supply\n", "title: Supply judged\n"),
    ("looser", "    needs: {cover: fitted, rate-hold: held}\n", "    needs: {rate-hold: held}\n"),
    ("looser", "    alters: [cover]\n", ""),
    ("looser", "    voids: [flue]\n", ""),
    ("looser", "not_done: stop-fault\n    at_most: 3", "not_done: turn\n    at_most: 3"),
    (
        "tighter",
        "accuracy: 0.2, source: the regulation}\n",
        "accuracy: 0.2, source: the regulation}\n    at_most: 2\n    exhausted: stop-fault\n",
    ),
    ("looser", "outside: stop-fault, missing", "outside: flue, missing"),
    ("tighter", "too-close: flue, outside", "too-close: stop-fault, outside"),
    ("looser", "  - Hot surfaces.\n", "  - Warm surfaces, take care.\n"),
    ("looser", "jobsheet: [serial]\n", ""),
    ("tighter", "jobsheet: [serial]", "jobsheet: [serial, site]"),
    ("looser", "value: set_point}", "value: flow_temperature}"),
    ("looser", "script: Boiler off. Put", "script: Boiler on. Put"),
]


@pytest.mark.parametrize(("weight", "old", "new"), WEIGHED)
def test_a_change_weighs(weight: str, old: str, new: str) -> None:
    assert LIMITED != PROVEN
    assert old in LIMITED
    found = changes(procedure_of(LIMITED), procedure_of(LIMITED.replace(old, new, 1)))
    assert found
    gravest = next(one for one in ("looser", "tighter", "wording", "neutral") if one in {c.weight for c in found})
    assert gravest == weight, [(change.sentence(), change.weight) for change in found]


ADDED = """\
  - id: look
    kind: confirm
    title: Look at it
    source: common practice, no source
    firing: true
    prompt: Look at the flame.
    done: [looked at]
  - id: flue
"""


def test_a_gate_put_in_between_is_tighter_and_one_taken_out_is_looser() -> None:
    more = PROVEN.replace("  - id: flue\n", ADDED, 1).replace("within: flue,", "within: look,", 1)
    assert {one.weight for one in changes(procedure_of(PROVEN), procedure_of(more))} == {"tighter", "neutral"}
    assert "looser" in {one.weight for one in changes(procedure_of(more), procedure_of(PROVEN))}


@pytest.mark.parametrize(
    ("was", "now", "weight"),
    [
        ("Add fifty grams.", "Add five hundred grams.", "looser"),
        ("Add 50 grams.", "Add 500 grams.", "looser"),
        ("Torque bolt one, then bolt five.", "Torque bolt five, then bolt one.", "looser"),
        ("Do not open it.", "Do open it.", "looser"),
        ("Serial {job.serial}?", "Serial {job.job}?", "looser"),
        ("Take the cover away.", "Take away the front panel.", "looser"),
        ("Raise the set point.", "Lower the set point.", "looser"),
        ("Analyser zeroed outdoors.", "Analyser zeroed indoors.", "looser"),
        ("Gas cock open, slowly.", "Gas cock open.", "looser"),
        ("Vent the air. Test water and inhibitor.", "Vent the air. Test water.", "looser"),
        ("Now fit your own lock.", "Please fit the own lock.", "wording"),
    ],
)
def test_a_text_is_wording_only_where_nothing_changed_that_tells_what_to_do(
    was: str, now: str, weight: str
) -> None:
    assert of_text(was, now) == weight


def git(folder: Path, *arguments: str) -> None:
    who = ("-c", "user.name=An author", "-c", "user.email=author@example.org")
    subprocess.run(["git", "-C", str(folder), *who, *arguments], check=True, capture_output=True)


@pytest.fixture
def versioned(tmp_path: Path) -> Path:
    """A repository with two files, one of which includes the other; both have changed since."""
    from fuzzing import GUEST, HOST  # noqa: PLC0415

    (tmp_path / "host.yaml").write_text(HOST)
    (tmp_path / "guest.yaml").write_text(GUEST)
    git(tmp_path, "init", "-q", "-b", "main")
    git(tmp_path, "add", ".")
    git(tmp_path, "commit", "-q", "-m", "As it was")
    (tmp_path / "guest.yaml").write_text(GUEST.replace("low: 1, high: 60", "low: 1, high: 70"))
    (tmp_path / "host.yaml").write_text(HOST.replace("least: 17.5", "least: 17"))
    return tmp_path


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, list(map(str, arguments)))
    return done.exit_code, done.output + (str(done.exception) if done.exit_code == 1 and done.exception else "")


def test_a_commit_is_compared_with_what_it_includes(versioned: Path) -> None:
    """The included file is read from the commit too."""
    code, told = run("compare", "main", "--", versioned / "host.yaml")
    assert code == 0, told
    assert "second/judged: limits" in told
    assert "first/read: ask" in told
    assert told.startswith("looser:")
    assert "there is no file and no commit 'nonesuch'" in run("compare", "nonesuch", versioned / "host.yaml")[1]


def test_what_is_looser_fails_when_that_is_asked_for(versioned: Path) -> None:
    host = versioned / "host.yaml"
    assert run("compare", "main", host, "--exit-code")[0] == 1
    git(versioned, "commit", "-q", "-a", "-m", "As it is")
    assert run("compare", "main", host, "--exit-code")[0] == 0
    host.write_text(host.read_text().replace("least: 17}", "least: 18}"))
    code, told = run("compare", "main", host, "--exit-code")
    assert (code, told.startswith("tighter:")) == (0, True), told


def sarif_of(path: Path) -> dict[str, object]:
    """Return the only run of a log that keeps the schema of the standard, and says which that is.

    The schema is the one of OASIS for SARIF 2.1.0, as SchemaStore (Apache-2.0) hands it on.
    """
    log = json.loads(path.read_text())
    assert list(jsonschema.Draft7Validator(SARIF).iter_errors(log)) == []
    assert log["$schema"].endswith("sarif-schema-2.1.0.json")
    (one,) = log["runs"]
    assert one["tool"]["driver"]["name"]
    rules = one["tool"]["driver"]["rules"]
    assert all(rule["id"] and rule["shortDescription"]["text"] for rule in rules)
    assert len({rule["id"] for rule in rules}) == len(rules)
    for result in one["results"]:
        assert result["message"]["text"]
        assert result["level"] in {"none", "note", "warning", "error"}
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]
        where = result["locations"][0]["physicalLocation"]
        assert where["artifactLocation"]["uri"]
        assert min(where["region"]["startLine"], where["region"]["startColumn"]) >= 1
    return one


def test_check_writes_sarif_and_one_line_for_each_finding(tmp_path: Path) -> None:
    path, broken = tmp_path / "sample.yaml", tmp_path / "broken.yaml"
    path.write_text(PROVEN.replace("things: [rate-hold, set-point]", "things: [rate-hold]"))
    broken.write_text(PROVEN.replace("procedure: sample", "procedure: broken").replace("[cover]", "[lid]", 1))
    code, told = run("check", path, broken, "--annotations", "--sarif", tmp_path / "out.sarif")
    assert code == 1
    lines = told.splitlines()
    assert any(line.startswith(f"{path}:") and line.endswith("[restored]") for line in lines)
    assert any(line.startswith(f"{broken}:") and "no thing 'lid'" in line for line in lines)
    assert {result["ruleId"] for result in sarif_of(tmp_path / "out.sarif")["results"]} >= {"restored", "language"}


def test_compare_writes_sarif_and_one_line_for_each_change(versioned: Path) -> None:
    out = versioned / "out.sarif"
    code, told = run("compare", "main", versioned / "host.yaml", "--annotations", "--sarif", out)
    assert code == 0
    assert f"{versioned / 'guest.yaml'}:" in told
    levels = {result["ruleId"]: result["level"] for result in sarif_of(out)["results"]}
    assert levels["looser"] == "warning"


def test_stories_that_go_otherwise_are_told(tmp_path: Path) -> None:
    """A limit lowered by half a millibar: the story of the old edge ends otherwise."""
    stories = tmp_path / "sample.tests.yaml"
    old, new = tmp_path / "old" / "sample.yaml", tmp_path / "sample.yaml"
    old.parent.mkdir()
    old.write_text(LIMITED)
    new.write_text(LIMITED.replace("low: 17, high: 25, accuracy: 0.2", "low: 16, high: 25, accuracy: 0.2"))
    stories.write_text(
        "handsfree: 2\nstories_of: sample\nday: 2026-11-25\nstories:\n  - story: Too little pressure\n"
        "    shows: {standing_pressure: 16.2}\n    steps: [{go: stopped}]\n    ends: open\n"
        "    altered: [set-point, rate-hold]\n"
    )
    told = run("compare", old, new, "--stories")[1]
    assert "story goes otherwise: Too little pressure: " in told


def test_of_two_long_lists_only_what_differs_is_told() -> None:
    """A reviewer looks for one name among twenty; short lists and texts stay whole."""
    many = [f"thing-number-{n}" for n in range(20)]
    other = [*many[:9], many[10], many[9], *many[11:]]
    told = Change("things", "put-back", "things", ", ".join(many), ", ".join(other), "looser").sentence()
    between = "..., thing-number-8, {}, thing-number-11, ..."
    was, now = (between.format(", ".join(pair)) for pair in (many[9:11], other[9:11]))
    assert told == f"put-back: things: {was} -> {now}"
    lost = Change("things", "", "things", ", ".join(many), ", ".join(many[:-1]), "looser").sentence()
    assert lost == "things: ..., thing-number-18, thing-number-19 -> ..., thing-number-18"
    short = Change("things", "", "things", "pump, cover", "cover, pump", "looser").sentence()
    assert short == "things: pump, cover -> cover, pump"
