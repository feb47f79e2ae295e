"""Planted faults tried: which proof, or which story of any of the procedures given, notices each.

A fault of a part that several procedures share is tried once: in the smallest of them first, and in the next one
only where the ones before did not notice it.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Literal

from handsfree.gates.table import ENDING as TABLE
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import failures, first_failure
from handsfree.stories.mutants import PlantedFault, faults_in, mutated
from handsfree.stories.running import StoriesOf, by_another, plan_of_story, read_stories, stories_beside, told

Caught = Literal["check", "story", "survives", "same"]
"""The last one changes no meaning."""


@dataclass(frozen=True)
class Trial:
    """A planted fault, by its number in its file, and the stories of each procedure that has this file."""

    file: Path
    number: int
    stories: tuple[Path, ...]
    """Those of the smallest procedure first."""


@dataclass(frozen=True)
class MutantOutcome:
    """What became of a planted fault."""

    fault: PlantedFault
    caught: Caught
    by: str = ""
    """The proof or the story that noticed; for a survivor how a comparison weighs it."""
    stories: tuple[Path, ...] = ()
    """The stories of each procedure that has its file."""


def trials(found: Sequence[StoriesOf]) -> list[Trial]:
    """Return a trial for every fault of each file of the procedures, each file once."""
    sized = [(load_procedure(one.procedure), one.path) for one in found]
    sharing: dict[Path, list[Path]] = {}
    for procedure, path in sorted(sized, key=lambda one: len(one[0].gates)):
        for file in dict.fromkeys(Path(document.file).resolve() for document in procedure.documents):
            sharing.setdefault(file, []).append(path)
    return [
        Trial(file, number, tuple(paths))
        for file, paths in sharing.items()
        for number in range(len(faults_in(file)))
    ]


def outcomes(found: Sequence[StoriesOf], jobs: int = 1, every: int = 1) -> list[MutantOutcome]:
    """Return what becomes of every planted fault of procedures, or of every so-many-th."""
    tried = trials(found)[::every]
    if jobs > 1 and len(tried) > 1:
        with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
            return list(pool.map(outcome_of, tried, chunksize=4))
    return [outcome_of(one) for one in tried]


def outcome_of(trial: Trial) -> MutantOutcome:
    """Return what becomes of one planted fault, in whichever procedure it is noticed first."""
    fault = faults_in(trial.file)[trial.number]
    weights = []
    for path in trial.stories:
        caught, by = _outcome_in(read_stories(path), fault)
        if caught in {"check", "story"}:
            return MutantOutcome(fault, caught, by, trial.stories)
        if caught == "survives":
            weights.append(by)
    if not weights:
        return MutantOutcome(fault, "same", stories=trial.stories)
    noticing = _noticing_of_part(fault, trial)
    if noticing:
        return MutantOutcome(fault, "story", noticing, trial.stories)
    return MutantOutcome(fault, "survives", "looser" if "looser" in weights else weights[0], trial.stories)


@lru_cache(maxsize=64)
def _sound(path: Path) -> tuple[Procedure, frozenset[tuple[str, str]]]:
    procedure = load_procedure(read_stories(path).procedure)
    return procedure, failures(procedure)


def _outcome_in(stories: StoriesOf, fault: PlantedFault) -> tuple[Caught, str]:
    """Return what becomes of a fault in one procedure, and by what."""
    sound, known = _sound(stories.path)
    try:
        damaged = mutated(stories.procedure, fault)
    except Problem:
        return "check", "refused"
    failure = first_failure(damaged, known=known)
    if failure is not None:
        return "check", failure[0]
    found = changes(sound, damaged)
    if not found:
        return "same", ""
    try:
        noticing = _noticing(stories, damaged)
    except Problem:
        return "check", "refused"
    if noticing:
        return "story", noticing
    return "survives", "looser" if any(change.weight == "looser" for change in found) else found[0].weight


def _noticing(stories: StoriesOf, damaged: Procedure) -> str:
    """Return the first story that goes otherwise by the damaged procedure; empty when none does."""
    for at, story in enumerate(stories.file.stories):
        if told(stories, at, by_another(damaged, plan_of_story(stories, story))).fault:
            return story.story
    return ""


def _noticing_of_part(fault: PlantedFault, trial: Trial) -> str:
    """Return the first story beside the part that holds the fault which goes otherwise; empty when none does."""
    part = Path(fault.file)
    beside = None if part.name.endswith(TABLE) else stories_beside(part)
    if beside is None or beside.path.resolve() in {path.resolve() for path in trial.stories}:
        return ""
    found = _noticing(beside, mutated(part, fault))
    return f"{found} ({part.stem})" if found else ""
