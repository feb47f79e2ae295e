"""What a gate or a question is stands in its module: nobody else lists the kinds or asks for a class of gate."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from handsfree.gates import GATE_KINDS
from handsfree.questions import QUESTION_KINDS

PACKAGE = Path(__file__).parents[2] / "handsfree"
AT_HOME = ("gates", "questions")
EXEMPT = {
    "events/upcasting.py": "reads the names that version 2 wrote",
    "procedure/added.py": "gives a confirmation without words of its own the language's, and adds the end",
}
GATES = {kind.__name__ for kind in GATE_KINDS}
NAMES = {str(kind.model_fields["kind"].annotation).split("'")[1] for kind in GATE_KINDS} | {
    kind.model_fields["kind"].default for kind in QUESTION_KINDS
}
MANY = 3
"""So many names of kinds in one collection or one match are a list of kinds."""


def lists_of_kinds(source: str) -> Iterator[int]:
    """Yield the lines where a collection, or the cases of a match, name several kinds."""
    for node in ast.walk(ast.parse(source)):
        parts: list[ast.AST] = []
        if isinstance(node, ast.Set | ast.List | ast.Tuple):
            parts = list(node.elts)
        elif isinstance(node, ast.Dict):
            parts = [key for key in node.keys if key is not None]
        elif isinstance(node, ast.Match):
            parts = [one for case in node.cases for one in ast.walk(case.pattern)]
            parts = [one.value for one in parts if isinstance(one, ast.MatchValue)]
        named = {one.value for one in parts if isinstance(one, ast.Constant) and one.value in NAMES}
        if len(named) >= MANY:
            yield node.lineno


def classes_of_gates(source: str) -> Iterator[int]:
    """Yield the lines where something is held against a class of gate: isinstance, or a case of a match."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "isinstance":
            named = {one.id for one in ast.walk(node.args[1]) if isinstance(one, ast.Name)}
            if named & GATES:
                yield node.lineno
        elif isinstance(node, ast.MatchClass) and isinstance(node.cls, ast.Name) and node.cls.id in GATES:
            yield node.lineno


def elsewhere() -> list[tuple[str, str]]:
    """Return the name and the source of every module that is no home of a kind."""
    files = sorted(PACKAGE.rglob("*.py"))
    named = [(file.relative_to(PACKAGE).as_posix(), file.read_text("utf-8")) for file in files]
    return [(name, text) for name, text in named if not name.startswith(AT_HOME) and name not in EXEMPT]


def test_no_module_lists_the_kinds_a_second_time() -> None:
    """Session, proofs, screen, phone, explorer and documentation enumerate the unions."""
    found = [f"{name}:{line}" for name, text in elsewhere() for line in lists_of_kinds(text)]
    assert found == []


def test_no_module_holds_a_gate_against_a_class() -> None:
    """They ask its effects instead."""
    found = [f"{name}:{line}" for name, text in elsewhere() for line in classes_of_gates(text)]
    assert found == []


@pytest.mark.parametrize(
    "planted",
    [
        'PATIENT = frozenset({"done-check", "thing-check", "finish-check"})',
        'LABELS = {"once-more": 1, "digits": 2, "read-back": 3}',
        (
            'def f(q):\n    match q.kind:\n        case "confirm" | "choice":\n            pass\n'
            '        case "readings":\n            pass'
        ),
        'KINDS = ["turn", "mark", "rate"]',
    ],
)
def test_a_planted_list_is_found(planted: str) -> None:
    """Each shape in which the old second lists stood."""
    assert list(lists_of_kinds(planted))


@pytest.mark.parametrize(
    "planted",
    [
        "def f(gate):\n    return isinstance(gate, ReadingsGate | TimedGate)",
        "def f(gate):\n    match gate:\n        case ConfirmGate():\n            return 1",
    ],
)
def test_a_planted_ladder_is_found(planted: str) -> None:
    """Both ways of asking for a class."""
    assert list(classes_of_gates(planted))


def test_every_exemption_is_still_needed() -> None:
    """One that names nothing any more goes."""
    for name in EXEMPT:
        text = (PACKAGE / name).read_text("utf-8")
        assert list(lists_of_kinds(text)) or list(classes_of_gates(text)), name
