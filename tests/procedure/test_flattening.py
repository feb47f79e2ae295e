"""Procedures from YAML: every fault with its line; includes, exits and parameters flattened."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.problem import Problem
from handsfree.procedure.procedure import Procedure, load_procedure

SAMPLE = """\
handsfree: 2
procedure: sample
title: Sample
purpose: Nothing but a test.
things:
  cover: {said: Cover, altered: removed, restored: fitted}
gates:
  - id: off
    kind: confirm
    title: Cover off
    prompt: Cover off.
    alters: [cover]
  - id: reading
    kind: readings
    title: One reading
    needs: {cover: removed}
    prompt: "CO2?"
    ask: [{quantity: co2, low: 9.30, high: 12}]
    point: first
  - id: back
    kind: restore
    title: Put back
    things: [cover]
  - id: finish
    kind: finish
    title: Finish
"""


def sample(folder: Path, text: str = SAMPLE, name: str = "sample") -> Path:
    path = folder / f"{name}.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def problem_of(path: Path) -> Problem:
    with pytest.raises(Problem) as caught:
        load_procedure(path)
    return caught.value


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("handsfree: 2", "handsfree: 3", 1, "handsfree"),
        ("procedure: sample", "procedure: other", 2, "called 'other'"),
        ("procedure: sample", "procedure: Sample One", 2, "procedure"),
        ("title: Sample\n", "", 1, "title"),
        ("purpose: Nothing but a test.", "purpose: 5", 4, "purpose"),
        ("    prompt: Cover off.", "    prompt: Cover off.\n    colour: red", 12, "colour"),
        ("    kind: confirm", "    kind: dance", 9, "dance"),
        ("    kind: confirm\n", "", 8, "say which it is by its key 'kind'"),
        ("  - id: off", "  - id: Off Now", 8, "id"),
        ("  - id: back", "  - id: off", 8, "stands twice"),
        ("alters: [cover]", "alters: [lid]", 12, "no thing 'lid'"),
        ("alters: [cover]", "alters: cover", 12, "alters"),
        ("needs: {cover: removed}", "needs: {cover: half}", 16, "'half'"),
        ("needs: {cover: removed}", "needs: {lid: removed}", 16, "no thing 'lid'"),
        ("    prompt: Cover off.", "    prompt: Cover off.\n    then: nowhere", 12, "no gate 'nowhere'"),
        ("    prompt: Cover off.", "    prompt: Cover off.\n    then: exit gone", 12, "no exit 'gone'"),
        ("    prompt: Cover off.", "    prompt: Cover off.\n    not_done: nowhere", 12, "no gate 'nowhere'"),
        ("    prompt: Cover off.", "    prompt: Cover off.\n    at_most: 2", 12, "belong together"),
        ("    prompt: Cover off.", "    prompt: $words", 11, "no parameter 'words'"),
        ("    prompt: Cover off.", "    prompt: Cover off.\n    done: [Done!]", 12, "done"),
        ("altered: removed", "altered: fitted", 6, "different words"),
        ("low: 9.30, high: 12", "low: 12.5, high: 12", 18, "low must be below high"),
        ("low: 9.30", "low: nine", 18, "low"),
        ("low: 9.30", "low: true", 18, "low"),
        ("    point: first", "    point: first\n    rate: maximum", 20, "belong together"),
        ("    point: first", "    point: first\n    unsettled: back", 20, "belong together"),
        ("    point: first", "    point: first\n    rate: medium", 20, "rate"),
        ("  - id: finish\n    kind: finish\n    title: Finish\n", "", 20, "leads nowhere"),
        (SAMPLE[SAMPLE.index("  - id: off") :], "  []\n", 8, "gates"),
    ],
)
def test_a_fault_in_a_procedure_is_named_with_its_line(
    tmp_path: Path, old: str, new: str, line: int, says: str
) -> None:
    """Unknown keys, names, targets and values out of shape: one sentence with file:line, never a traceback."""
    assert old in SAMPLE
    path = sample(tmp_path, SAMPLE.replace(old, new, 1))
    problem = problem_of(path)
    assert says in str(problem)
    assert str(problem.where).startswith(f"{path}:{line}")


def test_the_sample_itself_loads(tmp_path: Path) -> None:
    """The faults above are faults of what was changed, not of the sample."""
    procedure = load_procedure(sample(tmp_path))
    assert list(procedure.gates) == ["off", "reading", "back", "finish"]
    reading = procedure.gate("reading").gate
    assert str(reading.ask[0].low) == "9.30"  # type: ignore[union-attr]
    assert procedure.gate("off").transitions == {"done": "reading", "not done": "reading"}
    with pytest.raises(Problem, match="no gate 'gone'"):
        procedure.gate("gone")


def test_a_choice_must_say_where_not_done_leads(tmp_path: Path) -> None:
    """The next gate in the file is not the way on from a question with answers."""
    choice = """\
  - id: ask
    kind: choice
    title: Ask
    prompt: "Which?"
    answers:
      one: {heard: [one], then: back}
      two: {heard: [two], then: back}
"""
    text = SAMPLE.replace("  - id: back", choice + "  - id: back", 1)
    assert "not_done" in str(problem_of(sample(tmp_path, text)))
    good = load_procedure(sample(tmp_path, text.replace('"Which?"', '"Which?"\n    not_done: false', 1)))
    assert good.gate("ask").transitions == {"one": "back", "two": "back"}


CHILD = """\
handsfree: 2
procedure: child
title: Child
purpose: Included.
parameters: {said: Do it., name: value}
things:
  cover: {said: Cover, altered: removed, restored: fitted}
exits: [well, ill]
gates:
  - id: act
    kind: confirm
    title: Act
    prompt: $said
    then: exit well
    not_done: exit ill
"""
PARENT = """\
handsfree: 2
procedure: parent
title: Parent
purpose: Includes.
gates:
  - id: inner
    kind: include
    file: child.yaml
    parameters: {said: Do that.}
    exits: {well: finish, ill: inner-again}
  - id: inner-again
    kind: include
    file: child.yaml
    exits: {well: finish, ill: finish}
  - id: finish
    kind: finish
    title: Finish
"""


def family(folder: Path, parent: str = PARENT, child: str = CHILD) -> Path:
    sample(folder, child, "child")
    return sample(folder, parent, "parent")


def test_an_included_file_is_flattened_under_its_prefix(tmp_path: Path) -> None:
    """Ways into an include lead to its first gate, exits to where the includer says."""
    procedure = load_procedure(family(tmp_path))
    assert list(procedure.gates) == ["inner/act", "inner-again/act", "finish"]
    assert procedure.first == "inner/act"
    assert procedure.gate("inner/act").transitions == {"done": "finish", "not done": "inner-again/act"}
    assert procedure.gate("inner/act").gate.prompt == "Do that."  # type: ignore[union-attr]
    assert procedure.gate("inner-again/act").gate.prompt == "Do it."  # type: ignore[union-attr]
    assert procedure.gate("inner/act").place.file.endswith("child.yaml")


def test_a_file_with_exits_runs_by_itself(tmp_path: Path) -> None:
    """Each exit restores everything and finishes."""
    family(tmp_path)
    procedure = load_procedure(tmp_path / "child.yaml")
    assert list(procedure.gates) == ["act", "put-back", "finish"]
    assert set(procedure.gate("act").transitions.values()) == {"put-back"}


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("exits: {well: finish, ill: inner-again}", "exits: {well: finish}", 6, "not led anywhere: ill"),
        ("well: finish, ill: inner-again", "well: finish, ill: finish, odd: finish", 6, "no exit odd"),
        ("well: finish, ill: inner-again", "well: finish, ill: gone", 10, "no gate 'gone'"),
        ("well: finish, ill: inner-again", "well: finish, ill: exit away", 10, "no exit 'away'"),
        ("file: child.yaml", "file: ../child.yaml", 8, "file"),
    ],
)
def test_a_fault_in_an_include_is_named_in_the_including_file(
    tmp_path: Path, old: str, new: str, line: int, says: str
) -> None:
    """Exits forgotten, unknown or led nowhere, and files elsewhere."""
    path = family(tmp_path, PARENT.replace(old, new, 1))
    problem = problem_of(path)
    assert says in str(problem)
    assert str(problem.where).startswith(f"{path}:{line}")


def test_a_missing_include_and_an_unknown_parameter_are_named(tmp_path: Path) -> None:
    """The file that is not there, and the parameter nobody declared."""
    path = family(tmp_path, PARENT.replace("file: child.yaml", "file: gone.yaml", 1))
    problem = problem_of(path)
    assert "there is no gone.yaml" in str(problem)
    assert str(problem.where).startswith(f"{path}:8")
    path = family(tmp_path, PARENT.replace("{said: Do that.}", "{sung: Do that.}", 1))
    problem = problem_of(path)
    assert "no parameter 'sung'" in str(problem)
    assert str(problem.where).startswith(f"{path}:9")


def test_files_that_include_each_other_are_refused(tmp_path: Path) -> None:
    """A file that includes itself, and a circle of two, each with the place of the include."""
    circle = """\
handsfree: 2
procedure: NAME
title: Circle
purpose: Includes the other.
gates:
  - {id: inner, kind: include, file: OTHER.yaml, exits: {}}
"""
    for name, other in (("child", "parent"), ("parent", "child"), ("self", "self")):
        sample(tmp_path, circle.replace("NAME", name).replace("OTHER", other), name)
    for name, last in (("self", "self"), ("parent", "child")):
        problem = problem_of(tmp_path / f"{name}.yaml")
        assert "includes itself" in str(problem)
        assert str(problem.where).startswith(f"{tmp_path / last}.yaml:6")


def test_one_name_means_one_thing_in_all_files(tmp_path: Path) -> None:
    """An included file may repeat a thing, not change it."""
    things = "things:\n  cover: {said: Lid, altered: removed, restored: fitted}\ngates:"
    path = family(tmp_path, PARENT.replace("gates:", things, 1))
    assert "means another thing" in str(problem_of(path))


def test_the_version_changes_with_any_of_the_files(tmp_path: Path) -> None:
    """A changed word in an included file is another version; the same files give the same one."""
    path = family(tmp_path)
    before = load_procedure(path).version()
    assert load_procedure(path).version() == before
    family(tmp_path, child=CHILD.replace("title: Act", "title: Acts"))
    assert load_procedure(path).version() != before


_EDITS = st.lists(
    st.tuples(
        st.floats(0, 1, exclude_max=True),
        st.integers(0, 12),
        st.text(alphabet="ab:[]{}-,'\"$&*! \n09.#|", max_size=6)
        | st.sampled_from(["exit ", "kind: stop", "then: off", "needs: {}", "null", "9.30", "$x", "include"]),
    ),
    min_size=1,
    max_size=3,
)


def _edited(text: str, edits: list[tuple[float, int, str]]) -> str:
    for where, length, put in edits:
        at = int(where * len(text))
        text = text[:at] + put + text[at + length :]
    return text


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(edits=_EDITS)
def test_a_damaged_procedure_is_a_procedure_or_a_problem(
    tmp_path: Path, edits: list[tuple[float, int, str]]
) -> None:
    """Random cuts and insertions in an including file and its child."""
    for parent, child in ((_edited(PARENT, edits), CHILD), (PARENT, _edited(CHILD, edits))):
        try:
            assert isinstance(load_procedure(family(tmp_path, parent, child)), Procedure)
        except Problem as problem:
            assert str(tmp_path) in str(problem.where)  # noqa: PT017 - either outcome is right


def test_an_include_is_not_named_like_a_gate_of_its_part(tmp_path: Path) -> None:
    """With ids of its own, a part's gate would else be taken for the include, and ways lead nowhere."""
    parent = PARENT.replace(
        "  - id: inner\n    kind: include", "  - id: act\n    kind: include\n    own_ids: true", 1
    )
    problem = problem_of(family(tmp_path, parent))
    assert "the id 'act' is that of an include too" in str(problem)


@pytest.mark.parametrize("key", ["begins: {cover: removed}", "readings: [flue]"])
def test_only_a_part_begins_with_things_altered_or_readings_taken(tmp_path: Path, key: str) -> None:
    text = SAMPLE.replace("gates:\n", f"{key}\ngates:\n", 1)
    assert "`begins` and `readings` are for a part" in str(problem_of(sample(tmp_path, text)))


@pytest.mark.parametrize("name", ["air-duct-clear", "no-such-thing"])
def test_what_may_be_left_outside_is_no_danger_and_no_misspelt_name(tmp_path: Path, name: str) -> None:
    text = SAMPLE.replace("    kind: confirm\n", f"    kind: confirm\n    leaves: [{name}]\n", 1)
    assert f"no verdict of '{name}' may be left" in str(problem_of(sample(tmp_path, text)))
