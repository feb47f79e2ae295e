"""All that is to be told of a procedure at its places: what keeps it from being read, or what its proofs find."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from handsfree.documents import Document, Place, all_faults, read_document
from handsfree.problem import Problem, one_line
from handsfree.procedure.file import ProcedureFile
from handsfree.procedure.older_versions import told_of_older
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import ProofReport, check

LANGUAGE = "language"
"""The rule of what cannot be read as a procedure at all."""


@dataclass(frozen=True)
class ReviewNote:
    """One thing to be told at a place."""

    rule: str
    level: Literal["error", "warning", "note"]
    what: str
    place: Place

    def line(self) -> str:
        """Return it as one line, as compilers and editors write it."""
        return one_line(f"{self.place}: {self.level}: {self.what} [{self.rule}]")


@dataclass(frozen=True)
class Review:
    """What is found in one file and those it includes: a problem that ends the reading, or a report of proofs."""

    path: Path
    report: ProofReport | None
    problem: Problem | None = None
    others: tuple[tuple[Place, str], ...] = ()
    """Beside the problem: what else is wrong in the same file, so that one look mends it all."""

    @property
    def proven(self) -> bool:
        """Whether it could be read and every proof holds."""
        return self.report is not None and self.report.proven

    def notes(self) -> Iterator[ReviewNote]:
        """Yield everything as notes."""
        if self.problem is not None:
            yield of_problem(self.problem, self.path)
            yield from (ReviewNote(LANGUAGE, "error", what, place) for place, what in self.others)
        elif self.report is not None:
            yield from of_report(self.report)


def reviewed(path: Path, read: Callable[[Path], Document] = read_document) -> Review:
    """Read and prove a procedure; `read` gives the documents, from an editor for instance."""
    try:
        return Review(path, check(load_procedure(path, read)))
    except Problem as problem:
        return Review(path, None, problem, tuple(_others(path, problem, read)))


def _others(path: Path, problem: Problem, read: Callable[[Path], Document]) -> Iterator[tuple[Place, str]]:
    try:
        document = read(path)
        found = list(told_of_older(document)) or all_faults(ProcedureFile, document)
    except Problem:
        return
    yield from ((place, what) for place, what in found if str(place) != problem.where)


def of_problem(problem: Problem, path: Path) -> ReviewNote:
    """Return why a file could not be read, at its place; at its beginning where none is known."""
    name, *rest = (problem.where or str(path)).rsplit(".yaml", 1)
    numbers = [int(part) for part in "".join(rest).split(":") if part.isdigit()]
    line, column = (*numbers, 1, 1)[:2]
    remedy = f"; {problem.remedy}" if problem.remedy else ""
    return ReviewNote(
        LANGUAGE, "error", f"{problem.what}{remedy}", Place(f"{name}.yaml" if rest else name, line, column)
    )


def of_report(report: ProofReport) -> Iterator[ReviewNote]:
    """Yield what failed in a report of proofs, and its remarks."""
    for finding in report.findings:
        remedy = f"; {finding.remedy}" if finding.remedy else ""
        yield ReviewNote(finding.proof, "error", f"{finding.what}{remedy}", finding.place)
    first = report.procedure.documents[0]
    for remark in report.remarks:
        yield ReviewNote("remark", "note", remark, first.place(("procedure",)))
