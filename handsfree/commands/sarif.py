"""Findings for reviewers' tools: as SARIF 2.1.0, and as one line each.

SARIF: OASIS Standard, Static Analysis Results Interchange Format 2.1.0, with errata 01 (2023).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from urllib.parse import quote

from handsfree import __version__
from handsfree.documents import Place
from handsfree.problem import Problem, one_line
from handsfree.procedure.proofs.check import ProofReport

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


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


def of_problem(problem: Problem, path: Path) -> ReviewNote:
    """Return why a file could not be read, at its place; at its beginning where none is known."""
    name, *rest = (problem.where or str(path)).rsplit(".yaml", 1)
    numbers = [int(part) for part in "".join(rest).split(":") if part.isdigit()]
    line, column = (*numbers, 1, 1)[:2]
    remedy = f"; {problem.remedy}" if problem.remedy else ""
    return ReviewNote(
        "language", "error", f"{problem.what}{remedy}", Place(f"{name}.yaml" if rest else name, line, column)
    )


def of_report(report: ProofReport) -> Iterator[ReviewNote]:
    """Yield what failed in a report of proofs, and its remarks."""
    for finding in report.findings:
        remedy = f"; {finding.remedy}" if finding.remedy else ""
        yield ReviewNote(finding.proof, "error", f"{finding.what}{remedy}", finding.place)
    first = report.procedure.documents[0]
    for remark in report.remarks:
        yield ReviewNote("remark", "note", remark, first.place(("procedure",)))


def as_sarif(notes: Sequence[ReviewNote], rules: Mapping[str, str]) -> str:
    """Return a SARIF log of one run; `rules` says what each rule is about."""
    told = {**rules, **{note.rule: rules.get(note.rule, note.rule) for note in notes}}
    driver = {
        "name": "handsfree",
        "version": __version__,
        "rules": [{"id": rule, "shortDescription": {"text": says}} for rule, says in told.items()],
    }
    results = [
        {
            "ruleId": note.rule,
            "ruleIndex": list(told).index(note.rule),
            "level": note.level,
            "message": {"text": note.what},
            "locations": [
                {
                    "physicalLocation": {
                        "artifactLocation": {"uri": _uri(note.place.file)},
                        "region": {"startLine": note.place.line, "startColumn": note.place.column},
                    }
                }
            ],
        }
        for note in notes
    ]
    log = {"$schema": SCHEMA, "version": "2.1.0", "runs": [{"tool": {"driver": driver}, "results": results}]}
    return json.dumps(log, indent=2, ensure_ascii=False) + "\n"


def _uri(file: str) -> str:
    """Return a file as a reference from the folder the command ran in; an absolute one where it lies elsewhere."""
    path, here = Path(file).resolve(), Path.cwd()
    return quote(path.relative_to(here).as_posix()) if path.is_relative_to(here) else path.as_uri()
