"""Faults planted into a procedure, each one that an author might make, to see whether `check` or a story notices.

The operators, by name and what each plants, are written down in OPERATORS before any rule that must catch them. A
mutant is the content of one file with one fault. What changes no meaning is left out.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from handsfree.documents import Document, Path_, read_document
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.stories.condition_faults import in_conditions

OPERATORS: Mapping[str, str] = {
    "looser limit": "a written limit is moved outwards by a tenth of itself, or left out where another remains",
    "wrong unit": "a limit, or a number of a parameter, is ten times as large or as small, or its sign turns",
    "swapped rows": "two rows of a table that follow each other have the limits of the other one",
    "lost restore": "a thing is not put back any more",
    "lost need": "a state that a gate needs is not asked for any more",
    "lost alteration": "what a gate alters is not followed any more",
    "swapped order": "two gates that follow each other stand the other way round, or two things that are put back",
    "swapped answers": "two answers of a choice lead where the other one led",
    "bad taken for good": "the outcome outside, or missing, of a verdict leads where within leads",
    "other words": "a gate is passed by the words of the next one that is confirmed",
    "loop bound": "a loop may be gone through ten times as often",
    "shorter wait": "a wait takes a tenth of its time, or settling begins as early as the language allows",
    "other condition": "a condition stands no more, asks for another value, or takes one value less",
    "undone passes": "what led elsewhere, or was refused, when it is not done now leads on",
}
"""What each operator plants."""

_GONE = object()


class FaultName(NamedTuple):
    """The name of a planted fault."""

    file: str
    """Its file without the ending .yaml."""
    gate: str
    fault: str
    """The operator."""
    what: str

    def __str__(self) -> str:
        """Return the name as it is written under `accepted` in a file of stories."""
        given = ", ".join(
            f"{key}: {json.dumps(value, ensure_ascii=False)}" for key, value in self._asdict().items()
        )
        return f"{{{given}}}"


@dataclass(frozen=True)
class PlantedFault:
    """One fault: which file, which operator, where, and what the value becomes."""

    file: str
    operator: str
    gate: str
    what: str
    path: Path_
    value: Any

    @property
    def name(self) -> FaultName:
        """Its name, the same wherever the folder is."""
        return FaultName(Path(self.file).name.removesuffix(".yaml"), self.gate, self.operator, self.what)


def planted(document: Document) -> Iterator[PlantedFault]:
    """Yield every fault that the operators plant into a file."""
    gates = document.content.get("gates", [])
    yield from _in_table(document)
    for path, value in _numbers_given(document.content.get("parameters"), ("parameters",)):
        yield PlantedFault(document.file, "wrong unit", "parameters", f"{path[-1]} {value}", path, value)
    for number, gate in enumerate(gates):
        following = gates[number + 1] if number + 1 < len(gates) else None
        own = (*_in_gate(gate, gates[number + 1 :]), *in_conditions(gate, document, _GONE))
        for operator, path, what, value in own:
            yield PlantedFault(document.file, operator, gate["id"], what, ("gates", number, *path), value)
        if following is not None and "then" not in gate and "then" not in following:
            swapped = [*gates[:number], following, gate, *gates[number + 2 :]]
            yield PlantedFault(
                document.file, "swapped order", gate["id"], f"with {following['id']}", ("gates",), swapped
            )


def _in_table(document: Document) -> Iterator[PlantedFault]:
    """Yield the faults of a table of limits."""
    rows = document.content.get("rows", []) if "table" in document.content else []
    for number, row in enumerate(rows):
        for operator, path, what, value in _in_limits(row, ()):
            at = ("rows", number, *path)
            yield PlantedFault(document.file, operator, f"row {number + 1}", what, at, value)
    for number, (one, other) in enumerate(pairwise(rows)):
        if {**one, "when": None} != {**other, "when": None}:
            turned = [
                *rows[:number],
                {**other, "when": one["when"]},
                {**one, "when": other["when"]},
                *rows[number + 2 :],
            ]
            what = f"with row {number + 2}"
            yield PlantedFault(document.file, "swapped rows", f"row {number + 1}", what, ("rows",), turned)


_Planted = Iterator[tuple[str, Path_, str, Any]]


def _in_gate(gate: Mapping[str, Any], later: list[Any]) -> _Planted:
    yield from _in_limits(gate.get("limits"))
    for path, value in _numbers_given(gate.get("parameters"), ("parameters",)):
        yield "wrong unit", path, f"{path[-1]} {value}", value
    yield from _in_things(gate)
    yield from _in_ways(gate)
    if "at_most" in gate and isinstance(gate["at_most"], int):
        yield "loop bound", ("at_most",), "ten times", min(50, gate["at_most"] * 10)
    if isinstance(gate.get("seconds"), int):
        yield "shorter wait", ("seconds",), "a tenth", max(1, gate["seconds"] // 10)
    settle = gate.get("settle")
    if isinstance(settle, dict) and isinstance(settle.get("wait_seconds"), int) and settle["wait_seconds"] > 90:
        yield "shorter wait", ("settle", "wait_seconds"), "90", 90
    if gate.get("done"):
        other = next((one for one in later if one.get("done") and one["done"] != gate["done"]), None)
        if other is not None:
            yield "other words", ("done",), f"those of {other['id']}", other["done"]


def _numbers_given(parameters: Any, path: Path_) -> Iterator[tuple[Path_, Decimal]]:
    for name, value in parameters.items() if isinstance(parameters, dict) else ():
        if isinstance(value, int | Decimal) and not isinstance(value, bool) and value:
            yield from (((*path, name), other) for other in (Decimal(value) * 10, Decimal(value) / 10))


def _in_limits(limits: Any, at: Path_ = ("limits",)) -> _Planted:
    edges = [
        key for key in ("low", "high") if isinstance(limits, dict) and isinstance(limits.get(key), int | Decimal)
    ]
    for key in edges:
        value = Decimal(limits[key])
        away = abs(value) / 10 or Decimal(1)
        yield "looser limit", (*at, key), f"{key} a tenth", value - away if key == "low" else value + away
        if len(edges) == 2:
            yield "looser limit", (*at, key), f"{key} left out", _GONE
        for other in (value * 10, value / 10, -value):
            if other != value:
                yield "wrong unit", (*at, key), f"{key} {other}", other


def _in_things(gate: Mapping[str, Any]) -> _Planted:
    for key, operator in (("things", "lost restore"), ("restores", "lost restore"), ("alters", "lost alteration")):
        names: list[Any] = gate.get(key) or []
        for number in range(len(names)):
            left = [*names[:number], *names[number + 1 :]]
            yield operator, (key,), f"{names[number]}", left or _GONE
            if key == "things" and number + 1 < len(names):
                turned = [*names[:number], names[number + 1], names[number], *names[number + 2 :]]
                yield "swapped order", (key,), f"{names[number + 1]} first", turned
    for name in gate.get("needs", {}):
        yield "lost need", ("needs", name), name, _GONE


def _in_ways(gate: Mapping[str, Any]) -> _Planted:
    answers: dict[str, Any] = gate.get("answers") or {}
    names = list(answers)
    for one, other in pairwise(names):
        led, leads = answers[one].get("then"), answers[other].get("then")
        if led != leads:
            turned = {**answers, one: {**answers[one], "then": leads}, other: {**answers[other], "then": led}}
            yield "swapped answers", ("answers",), f"{one} and {other}", turned
    branches: dict[str, Any] = gate.get("branches") or {}
    within = branches.get("within")
    for outcome in ("outside", "missing"):
        if within is not None and branches.get(outcome) not in {None, within}:
            yield "bad taken for good", ("branches", outcome), f"{outcome} leads to {within}", within
    if gate.get("not_done") is False or isinstance(gate.get("not_done"), str):
        yield "undone passes", ("not_done",), "leads on", True


def _with(content: Any, path: Path_, value: Any) -> Any:
    """Return content with the value at a path, or without it."""
    changed = copy.deepcopy(content)
    inner = changed
    for part in path[:-1]:
        inner = inner[part]
    if value is _GONE:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return changed


@lru_cache(maxsize=256)
def faults_in(file: Path) -> tuple[PlantedFault, ...]:
    """Return every fault of one file as it is written: in all its languages."""
    return tuple(planted(read_document(file)))


def mutated(whole: Path, fault: PlantedFault) -> Procedure:
    """Return a procedure with a fault in one of its files; Problem when it does not even load."""

    def read(path: Path) -> Document:
        document = read_document(path)
        if path.resolve() != Path(fault.file).resolve():
            return document
        return replace(document, content=_with(document.content, fault.path, fault.value))

    return load_procedure(whole, read)
