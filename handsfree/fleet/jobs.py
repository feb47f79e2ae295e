"""What is done to each visit of a fleet, in a worker: verify it, examine it for the desk, hear it again.

The driver imports this module too; what a job needs is imported in the worker that does it.
"""

from __future__ import annotations

import base64
import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsfree.fleet.stored_visits import VisitSource
from handsfree.objects.keeping import StoreFailed
from handsfree.problem import Problem

UNREADABLE = "unreadable"
"""In place of a verdict: there is no record that could be verified."""


@dataclass(frozen=True)
class Assignment:
    """One visit to be worked on: which job, where it lies, what it is called, the SHA-256 of its contents.

    `enrolment` is the list that seals are held against; the machine's own copy when None. Objects are laid out
    in `scratch`.
    """

    job: str
    source: VisitSource
    name: str
    digest: str
    enrolment: Path | None = None
    scratch: Path | None = None


@dataclass(frozen=True)
class JobOutcome:
    """What came of one visit: the verdict on its record, who vouches for its key, and all that the job found.

    `found` is plain JSON. `cpu_s` are the seconds of processor time that the work took.
    """

    verdict: str
    anchor: str
    sentence: str
    found: Mapping[str, Any]
    cpu_s: float = 0.0


def carry_out(assignment: Assignment) -> JobOutcome:
    """Do a job to one visit; a visit that cannot be read is an outcome too, and says why.

    Raises StoreFailed, which is none.
    """
    begun = time.process_time()
    try:
        with assignment.source.opened(assignment.name, assignment.scratch) as folder:
            outcome = JOBS[assignment.job](folder, assignment.enrolment)
    except StoreFailed:
        raise
    except Problem as problem:
        outcome = JobOutcome(UNREADABLE, "", Problem(problem.what, remedy=problem.remedy).sentence(), {})
    return replace(outcome, cpu_s=round(time.process_time() - begun, 3))


def _verify(folder: Path, enrolment: Path | None) -> JobOutcome:
    from handsfree.desk.examination import verified  # noqa: PLC0415

    report = verified(folder, enrolment)
    anchor = report.anchor.state.value if report.anchor else ""
    found = {name: value for name, value in report.as_json().items() if name != "folder"}
    return JobOutcome(report.verdict.value, anchor, report.sentence, found)


def _examine(folder: Path, enrolment: Path | None) -> JobOutcome:
    from handsfree.desk.examination import examine  # noqa: PLC0415

    examined = examine(folder, enrolment)
    facts = examined.facts
    found = {"facts": facts, "rows": examined.rows, "view": base64.b64encode(examined.view).decode("ascii")}
    return JobOutcome(str(facts["seal"]), str(facts.get("anchor", "")), str(facts["sentence"]), found)


def _rehear(folder: Path, enrolment: Path | None) -> JobOutcome:
    """Hear a visit again and examine it; one that cannot be heard is examined all the same, and says why."""
    from handsfree.rehearing.work import hear_again  # noqa: PLC0415

    heard: dict[str, Any]
    try:
        heard = {"heard_again": json.loads(hear_again(folder).as_json())}
    except Problem as problem:
        heard = {"not_heard": Problem(problem.what, remedy=problem.remedy).sentence()}
    outcome = _examine(folder, enrolment)
    return replace(outcome, found={**outcome.found, **heard})


REHEAR = "rehear"
JOBS: Mapping[str, Callable[[Path, Path | None], JobOutcome]] = {
    "verify": _verify,
    "examine": _examine,
    REHEAR: _rehear,
}
"""Each job by its name; it takes a visit's folder and the list, and may raise Problem."""
