"""Survivors that an author accepts, each with the reason; a reason that nothing needs any more is refused."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path

from handsfree.documents import Path_
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.stories.file import AcceptedFault
from handsfree.stories.mutants import FaultName, faults_in
from handsfree.stories.running import StoriesOf
from handsfree.stories.trying import MutantOutcome

_REMEDY = "take it out of `accepted`"


def reasons(found: Sequence[StoriesOf], became: Sequence[MutantOutcome] = ()) -> Mapping[FaultName, str]:
    """Return the reason of each accepted fault.

    Raise Problem with file:line for one that is not planted, stands twice, or did not survive among what became.
    """
    outcome = {one.fault.name: one for one in became}
    because: dict[FaultName, str] = {}
    for stories, at, reason, fault in _written(found):
        name, place, planted = _name(stories, fault), str(stories.document.place(at)), _planted(stories.procedure)
        if name not in planted:
            near = "; ".join(str(one) for one in planted if one[:2] == name[:2])
            where = f"there it is one of: {near}" if near else _REMEDY
            raise Problem("no such fault is planted into this procedure", where=place, remedy=where)
        if name in because:
            raise Problem("this fault is accepted twice", where=place, remedy=_REMEDY)
        because[name] = reason
        tried = outcome.get(name)
        if tried is not None and tried.caught == "same":
            raise Problem("this fault changes no meaning", where=place, remedy=_REMEDY)
        if tried is not None and tried.caught != "survives":
            noticing = f"{'a proof' if tried.caught == 'check' else 'a story'} notices this fault now: {tried.by}"
            raise Problem(noticing, where=place, remedy=_REMEDY)
    return because


def _written(found: Sequence[StoriesOf]) -> Iterator[tuple[StoriesOf, Path_, str, AcceptedFault]]:
    for stories in found:
        for n, accepted in enumerate(stories.file.accepted):
            for m, fault in enumerate(accepted.faults):
                yield stories, ("accepted", n, "faults", m), accepted.because, fault


def _name(stories: StoriesOf, fault: AcceptedFault) -> FaultName:
    return FaultName(fault.file or stories.procedure.stem, fault.gate, fault.fault, fault.what)


@lru_cache(maxsize=64)
def _planted(procedure: Path) -> tuple[FaultName, ...]:
    files = {Path(document.file).resolve() for document in load_procedure(procedure).documents}
    return tuple(fault.name for file in sorted(files) for fault in faults_in(file))
