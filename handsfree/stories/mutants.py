"""Faults planted into a procedure, each one that an author might make, to see whether `check` or a story notices.

The operators, by name and what each plants, are written down in OPERATORS before any rule that must catch them. A
mutant is the content of one file with one fault. What changes no meaning is left out.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal

from handsfree.documents import Document, Path_, read_document
from handsfree.gates.table import ENDING as TABLE
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import failures, first_failure
from handsfree.stories.condition_faults import in_conditions
from handsfree.stories.running import StoriesOf, by_another, plan_of_story, read_stories, stories_beside, told

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

Caught = Literal["check", "story", "survives", "same"]
_GONE = object()


@dataclass(frozen=True)
class PlantedFault:
    """One fault: which file, which operator, where, and what the value becomes."""

    file: str
    operator: str
    gate: str
    what: str
    path: Path_
    value: Any


@dataclass(frozen=True)
class MutantOutcome:
    """What became of a planted fault."""

    fault: PlantedFault
    caught: Caught
    by: str = ""
    """The proof or the story that noticed; for a survivor how a comparison weighs it."""


def planted(document: Document) -> Iterator[PlantedFault]:
    """Yield every fault that the operators plant into a file."""
    gates = document.content.get("gates", [])
    yield from _in_table(document)
    for path, value in _numbers_given(document.content.get("parameters"), ("parameters",)):
        yield PlantedFault(document.file, "wrong unit", "parameters", f"{path[-1]} {value}", path, value)
    for number, gate in enumerate(gates):
        following = gates[number + 1] if number + 1 < len(gates) else None
        own = (*_in_gate(gate, gates[number + 1 :]), *in_conditions(gate, document.content, _GONE))
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
            yield PlantedFault(document.file, operator, f"row {number + 1}", f"{path[-1]} {what}", at, value)
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
        other = next((one["done"] for one in later if one.get("done") and one["done"] != gate["done"]), None)
        if other is not None:
            yield "other words", ("done",), f"{other}", other


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
        yield "looser limit", (*at, key), "a tenth", value - away if key == "low" else value + away
        if len(edges) == 2:
            yield "looser limit", (*at, key), "left out", _GONE
        for other in (value * 10, value / 10, -value):
            if other != value:
                yield "wrong unit", (*at, key), f"{other}", other


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


def _mutated(whole: Path, fault: PlantedFault) -> Procedure:
    def read(path: Path) -> Document:
        document = read_document(path)
        if path.resolve() != Path(fault.file).resolve():
            return document
        return replace(document, content=_with(document.content, fault.path, fault.value))

    return load_procedure(whole, read)


def outcomes(stories: StoriesOf, jobs: int = 1, every: int = 1) -> list[MutantOutcome]:
    """Return what becomes of every planted fault of a procedure, or of every so-many-th."""
    count = len(list(faults_of(load_procedure(stories.procedure))))
    numbers = range(0, count, every)
    if jobs > 1 and len(numbers) > 1:
        with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
            found = list(pool.map(outcome_of, [stories.path] * len(numbers), numbers, chunksize=4))
    else:
        found = [outcome_of(stories.path, number) for number in numbers]
    return [one for one in found if one.caught != "same"]


@lru_cache(maxsize=8)
def _sound(path: Path) -> tuple[Procedure, frozenset[tuple[str, str]], tuple[PlantedFault, ...]]:
    procedure = load_procedure(read_stories(path).procedure)
    return procedure, failures(procedure), tuple(faults_of(procedure))


def faults_of(procedure: Procedure) -> Iterator[PlantedFault]:
    """Yield every fault of each file of a procedure, as it is written: in all its languages."""
    for file in dict.fromkeys(document.file for document in procedure.documents):
        yield from planted(read_document(Path(file)))


def outcome_of(path: Path, number: int) -> MutantOutcome:
    """Return what becomes of one planted fault, by its number: refused, failing a proof or a story, or neither."""
    stories, (sound, known, faults) = read_stories(path), _sound(path)
    fault = faults[number]
    try:
        damaged = _mutated(stories.procedure, fault)
    except Problem:
        return MutantOutcome(fault, "check", "refused")
    failure = first_failure(damaged, known=known)
    if failure is not None:
        return MutantOutcome(fault, "check", failure[0])
    found = changes(sound, damaged)
    if not found:
        return MutantOutcome(fault, "same")
    try:
        noticing = _noticing(stories, damaged) or _noticing_of_part(stories, fault)
    except Problem:
        return MutantOutcome(fault, "check", "refused")
    if noticing:
        return MutantOutcome(fault, "story", noticing)
    weighs = "looser" if any(change.weight == "looser" for change in found) else found[0].weight
    return MutantOutcome(fault, "survives", weighs)


def _noticing(stories: StoriesOf, damaged: Procedure) -> str:
    """Return the first story that goes otherwise by the damaged procedure; empty when none does."""
    for at, story in enumerate(stories.file.stories):
        if told(stories, at, by_another(damaged, plan_of_story(stories, story))).fault:
            return story.story
    return ""


def _noticing_of_part(stories: StoriesOf, fault: PlantedFault) -> str:
    """Return the first story beside the part that holds the fault which goes otherwise; empty when none does."""
    part = Path(fault.file)
    other = part.resolve() != stories.procedure.resolve() and not part.name.endswith(TABLE)
    beside = stories_beside(part) if other else None
    if beside is None:
        return ""
    found = _noticing(beside, _mutated(part, fault))
    return f"{found} ({part.stem})" if found else ""
