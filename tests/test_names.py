"""One public class name, one owner; names in the terms of the field, and no home-made ones."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

import pytest

import handsfree

PACKAGE = Path(handsfree.__file__).parent


@cache
def parsed(source: str) -> ast.Module:
    """Return the tree of a source, which several tests walk."""
    return ast.parse(source)


def owners(sources: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Return class -> the modules that define it, or give its name to a type, in order; private names left out."""
    classes: set[str] = set()
    found: dict[str, list[str]] = defaultdict(list)
    for module, source in sources:
        for node in parsed(source).body:
            if isinstance(node, ast.ClassDef):
                classes.add(node.name)
                found[node.name].append(module)
            elif isinstance(node, ast.Assign) and "TypeVar(" not in ast.unparse(node.value):
                for target in node.targets:
                    if isinstance(target, ast.Name):
                        found[target.id].append(module)
    return {name: found[name] for name in sorted(classes) if not name.startswith("_")}


@cache
def package() -> list[tuple[str, str]]:
    """Return the name and the source of every module."""
    files = sorted(PACKAGE.rglob("*.py"))
    return [(file.relative_to(PACKAGE).as_posix(), file.read_text("utf-8")) for file in files]


def twice(sources: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Return the public names of classes that have more than one owner."""
    return {name: modules for name, modules in owners(sources).items() if len(modules) > 1}


def test_every_public_class_name_has_one_owner() -> None:
    """A second one is called what it is in its own field."""
    assert twice(package()) == {}


def test_a_planted_second_owner_is_found() -> None:
    """As a class, and as a type of the same name."""
    assert twice([*package(), ("planted.py", "class Utterance:\n    pass\n")]) == {
        "Utterance": ["hearing/utterance.py", "planted.py"]
    }
    assert twice([*package(), ("planted.py", "Procedure = dict[str, int]\n")]) == {
        "Procedure": ["procedure/procedure.py", "planted.py"]
    }


def test_the_scan_sees_the_whole_package() -> None:
    """Else it shows nothing: the classes of every layer are there."""
    seen = owners(package())
    assert {"Procedure", "State", "Utterance", "Entry", "Grammar", "FittedLine", "Evidence"} <= set(seen)


HOME_MADE = {
    "opinion": ("member of an ensemble", ("",)),
    "rival": ("competing hypothesis", ("",)),
    "pad": ("keypad state", ("",)),
    "ear": ("recogniser", ("",)),
    "mouth": ("speaker", ("",)),
    "watch": ("monitor", ("procedure/",)),
    "way": ("transition", ("gates/kind", "procedure/procedure", "procedure/moves", "procedure/proofs/search")),
    "place": ("measurement point", ("desk/measured", "desk/rules", "gates/", "trades/supervision")),
}
"""A home-made word, in the singular -> the field's term, and where in the package the word would mean that."""


def words_of(name: str) -> set[str]:
    """Return the words of a name, in lower case and the singular."""
    parts = re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z0-9]+", name)
    return {part.lower().removesuffix("s") for part in parts}


def names_given(source: str) -> Iterator[str]:
    """Yield every name that a module gives: to classes, functions, parameters, variables and fields."""
    for node in ast.walk(parsed(source)):
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield node.id if isinstance(node, ast.Name) else node.attr


def home_made(sources: Iterable[tuple[str, str]]) -> list[str]:
    """Return each name, or module, with a home-made word in it, and the term to use."""
    return sorted(
        {
            f"{module}: {name} ({term})"
            for module, source in sources
            for name in (Path(module).stem, *names_given(source))
            for word, (term, folders) in HOME_MADE.items()
            if word in words_of(name) and module.startswith(folders)
        }
    )


def test_names_use_the_terms_of_the_field() -> None:
    """Who knows the field finds the thing by its name."""
    assert home_made(package()) == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("hearing/planted.py", "class Opinion:\n    pass\n"),
        ("session/planted.py", "def f(rivals):\n    pass\n"),
        ("glance/pad.py", ""),
        ("procedure/proofs/planted.py", "ThingWatch = 1\n"),
        ("gates/kind.py", "class G:\n    def ways(self):\n        pass\n"),
        ("visit/planted.py", "class C:\n    def __init__(self):\n        self._mouth = 1\n"),
    ],
)
def test_a_planted_word_is_found(module: str, source: str) -> None:
    """In each shape that a name has."""
    assert home_made([(module, source)])
