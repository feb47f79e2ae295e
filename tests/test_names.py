"""One public class name, one owner: whoever reads a name knows what it is, whatever module it stands in."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

import handsfree

PACKAGE = Path(handsfree.__file__).parent


def owners(sources: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Return class -> the modules that define it, or give its name to a type, in order; private names left out."""
    classes: set[str] = set()
    found: dict[str, list[str]] = defaultdict(list)
    for module, source in sources:
        for node in ast.parse(source).body:
            if isinstance(node, ast.ClassDef):
                classes.add(node.name)
                found[node.name].append(module)
            elif isinstance(node, ast.Assign) and "TypeVar(" not in ast.unparse(node.value):
                for target in node.targets:
                    if isinstance(target, ast.Name):
                        found[target.id].append(module)
    return {name: found[name] for name in sorted(classes) if not name.startswith("_")}


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
