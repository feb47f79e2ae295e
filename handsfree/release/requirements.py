"""What is asked of a procedure before it is released: a version that was raised enough, and stories that hold."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handsfree.bundles.archive import Bundle
from handsfree.bundles.version import least_after, numbers
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.weighing import gravest
from handsfree.stories.running import Covered, run_all, stories_beside

LONGEST_TOLD = 400
"""Characters of the changes that are told when a version is too low."""


@dataclass(frozen=True)
class Raised:
    """The version of a release, the one it follows, and the gravest change between the two."""

    version: str
    after: str | None
    weight: str


def must_be_raised(procedure: Procedure, before: Bundle | None) -> Raised:
    """Return the version, held against the bundle before; Problem when there is none, or it is too low."""
    version, at = procedure.file.version, procedure.documents[0].place(("version",))
    if version is None:
        where = str(procedure.documents[0].place(("procedure",)))
        raise Problem("this procedure has no version", where=where, remedy="write `version: 1.0.0` below its name")
    if before is None:
        return Raised(version, None, "first")
    last = before.approval
    if procedure.version() == last.procedure_sha256:
        return Raised(version, last.after, "renewed")
    with before.unpacked() as file:
        found = changes(load_procedure(file), procedure)
    weight = gravest(change.weight for change in found)
    least = least_after(last.version, weight)
    if numbers(version) < numbers(least):
        told = "; ".join(change.sentence() for change in found if change.weight == weight)[:LONGEST_TOLD]
        raise Problem(
            f"version {version} is too low after {last.version}: it is {weight} ({told or 'its text changed'})",
            where=str(at),
            remedy=f"write `version: {least}`, or a higher one",
            code=ExitCode.FAILED,
        )
    return Raised(version, last.version, weight)


def must_be_tested(file: Path, jobs: int = 1) -> Covered:
    """Return what the stories beside a procedure cover; Problem when there are none, or one goes otherwise."""
    stories = stories_beside(file)
    if stories is None:
        raise Problem(
            "this procedure is untested: no stories stand beside it",
            where=str(file),
            remedy=f"write {file.stem}.tests.yaml, as STORIES.md shows",
            code=ExitCode.FAILED,
        )
    (covered,) = run_all([stories], jobs)
    for result in covered.failed:
        raise Problem(
            f"a story goes otherwise: {result.story}: {result.fault}",
            where=str(result.place),
            code=ExitCode.FAILED,
        )
    for lacking in covered.too_little():
        raise Problem(f"its stories cover too little: {lacking}", where=str(stories.path), code=ExitCode.FAILED)
    return covered
