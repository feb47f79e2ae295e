"""The type checker holds the kinds closed: no member of a protocol can be missing, no event go unapplied."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.gates import GATE_KINDS
from handsfree.gates.kind import GateKind
from handsfree.questions import QUESTION_KINDS
from handsfree.questions.kind import QuestionKind

pytestmark = pytest.mark.slow("mypy reads the whole program, patched")

ROOT = Path(__file__).parents[2]


def members(protocol: type) -> list[str]:
    """Return the members of a protocol, `kind` apart, which the union's discriminator holds."""
    return [name for name in vars(protocol) if not name.startswith("_") and name != "kind"]


def chosen(protocol: type, kinds: tuple[type, ...]) -> list[tuple[type, str]]:
    """Return each member with a kind that says it itself, so that none is left inherited; kinds take turns."""
    pairs: list[tuple[type, str]] = []
    for number, member in enumerate(members(protocol)):
        turn = number % len(kinds)
        own = next(kind for kind in (*kinds[turn:], *kinds[:turn]) if member in vars(kind))
        pairs.append((own, member))
    return pairs


OF_QUESTIONS = chosen(QuestionKind, QUESTION_KINDS)
OF_GATES = [one for one in chosen(GateKind, GATE_KINDS) if one[1] != "phrases"]
"""Without `phrases`: two of one kind are told alike, and any would do."""


def without(source: str, kind: str, member: str) -> str:
    """Return the source with a member of a class deleted."""
    lines = source.splitlines(keepends=True)
    (cls,) = (node for node in ast.parse(source).body if isinstance(node, ast.ClassDef) and node.name == kind)
    (function,) = (node for node in cls.body if isinstance(node, ast.FunctionDef) and node.name == member)
    first = min([function.lineno, *(one.lineno for one in function.decorator_list)])
    return "".join([*lines[: first - 1], *lines[function.end_lineno :]])


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What mypy says when each member is deleted from some kind, and an event comes in unannounced."""
    tree = tmp_path_factory.mktemp("patched")
    shutil.copytree(ROOT / "handsfree", tree / "handsfree", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tree)
    for kind, member in (*OF_QUESTIONS, *OF_GATES):
        _delete(tree, kind, member)
    _replace(tree, "questions/stopped.py", "def keys(", "def keys_of_another_name(")
    _replace(tree, "events/decisions/gates.py", "class Held(Record):", _UNKNOWN_EVENT)
    _replace(tree, "events/decisions/__init__.py", "    | Held\n", "    | Held\n    | Unheard\n")
    _replace(tree, "events/decisions/__init__.py", "    Held,\n", "    Held,\n    Unheard,\n")
    callers = [f"--package=handsfree.{name}" for name in ("procedure", "session", "glance")]  # of every member
    run = subprocess.run(
        [sys.executable, "-m", "mypy", "--no-incremental", *callers],
        cwd=tree,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 1, run.stdout + run.stderr
    return run.stdout


_UNKNOWN_EVENT = '''class Unheard(Record):
    """An event that nobody applies."""

    kind: Literal["unheard"] = "unheard"


class Held(Record):'''


def _delete(tree: Path, kind: type, member: str) -> None:
    file = tree.joinpath(*kind.__module__.split(".")).with_suffix(".py")
    file.write_text(without(file.read_text("utf-8"), kind.__name__, member), "utf-8")


def _replace(tree: Path, file: str, old: str, new: str) -> None:
    path = tree / "handsfree" / file
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


@pytest.mark.parametrize(("kind", "member"), [*OF_QUESTIONS, *OF_GATES])
def test_a_kind_without_a_member_does_not_type_check(told: str, kind: type, member: str) -> None:
    """Each member of a question or gate, deleted from one kind, is missed by name."""
    assert _missed(told, kind.__name__, member)


def test_every_member_is_deleted_somewhere() -> None:
    """No member of a protocol escapes, and no file loses the same one twice."""
    assert [member for _, member in OF_QUESTIONS] == members(QuestionKind)
    assert {member for _, member in OF_GATES} | {"phrases"} == set(members(GateKind))
    assert len({*OF_QUESTIONS, *OF_GATES}) == len(OF_QUESTIONS) + len(OF_GATES)


def test_the_registries_hold_their_unions_against_the_protocols(told: str) -> None:
    """`as_kind` is where a kind that lacks a member is refused, even one that nobody calls."""
    for place in ("handsfree/questions/__init__.py", "handsfree/gates/__init__.py"):
        assert any(line.startswith(place) and "Incompatible return value" in line for line in told.splitlines())


def test_an_event_that_nobody_applies_does_not_type_check(told: str) -> None:
    """`assert_never` at the end of `apply` names it."""
    lines = [line for line in told.splitlines() if line.startswith("handsfree/session/apply.py")]
    assert any("assert_never" in line and "Unheard" in line for line in lines)


def _missed(told: str, kind: str, member: str) -> bool:
    """Say whether some line tells that a kind of the union has no such member."""
    lines = told.splitlines()
    return any(f'Item "{kind}" of' in line and f'has no attribute "{member}"' in line for line in lines) or any(
        f'"{kind}" has no attribute "{member}"' in line for line in lines
    )
