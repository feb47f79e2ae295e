"""Nothing stands in the package that only its tests call."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import handsfree

PACKAGE = Path(handsfree.__file__).parent
STEPS = PACKAGE / "store" / "migrations" / "versions"
"""Alembic calls what stands in these."""

CALLED_FROM_ELSEWHERE = {
    "as_kind": "gates and questions: the type checker holds every kind of the union against the protocol there",
    "json_schema": "events: DEVELOPERS.md shows how to print it",
    "loop_graph": "hearing: models/training/export.py writes the decoder's graph",
    "propagated": "uncertainty: the reference that formulas are held against",
    "recorded_state": "visit: recovery alone, for the tests of the record",
}
"""Names that nothing in the package uses, each with who does."""


def definitions(tree: ast.Module) -> Iterator[tuple[str, ast.stmt]]:
    for node in tree.body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            registered = any(
                "command" in ast.unparse(each) or "callback" in ast.unparse(each) for each in node.decorator_list
            )
            if not registered:
                yield node.name, node
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id, node
        elif isinstance(node, ast.Assign):
            yield from ((target.id, node) for target in node.targets if isinstance(target, ast.Name))


def taken_by(module: str, tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Yield what a module takes from others, as (module, name): by import, or as an attribute of a module."""
    modules: dict[str, str] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                yield node.module, alias.name
                modules[alias.asname or alias.name] = f"{node.module}.{alias.name}"
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            yield modules[node.value.id], node.attr


def read_in(tree: ast.Module) -> dict[str, list[ast.stmt]]:
    """Return each name or attribute that is read, with the statements at the top of the module that read it."""
    found: dict[str, list[ast.stmt]] = {}
    for statement in tree.body:
        for node in ast.walk(statement):
            if isinstance(node, ast.Name | ast.Attribute):
                found.setdefault(node.id if isinstance(node, ast.Name) else node.attr, []).append(statement)
    return found


def unused(trees: dict[str, ast.Module]) -> set[str]:
    """Return names defined at the top of a module that neither the rest of it nor another module uses."""
    taken = {use for module, tree in trees.items() for use in taken_by(module, tree)}
    return {
        name
        for module, tree in trees.items()
        for reads in [read_in(tree)]
        for name, node in definitions(tree)
        if (module, name) not in taken and name != "__all__" and all(at is node for at in reads.get(name, []))
    }


def package() -> dict[str, ast.Module]:
    files = [file for file in sorted(PACKAGE.rglob("*.py")) if file.parent != STEPS]
    return {
        ".".join(file.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"): ast.parse(
            file.read_text()
        )
        for file in files
    }


def test_nothing_is_defined_that_only_tests_use() -> None:
    """Code that is not used rots: remove it, or say above who calls it."""
    assert unused(package()) == set(CALLED_FROM_ELSEWHERE)


def test_what_is_not_used_is_found() -> None:
    """A second function of a name that is used elsewhere does not hide behind it."""
    trees = {
        "a": ast.parse("def choose(): ...\nLIMIT = 3\ndef main(): return choose() + LIMIT"),
        "b": ast.parse("def choose(): return choose()\nfrom a import main\nmain()"),
    }
    assert unused(trees) == {"choose"}
