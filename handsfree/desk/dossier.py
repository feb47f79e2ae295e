"""All that the page, the terminal and the report tell of one visit, put together once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from handsfree.desk import facts, lines, outcome, tables
from handsfree.desk.evidence import AssessedAs, Evidence
from handsfree.desk.examination import verified
from handsfree.desk.record import load
from handsfree.desk.signoff import SignOff, sign_offs
from handsfree.desk.supervision import JudgedLine, judge
from handsfree.ledger import VerificationReport
from handsfree.office.enrolment import Enrolment
from handsfree.office.verification import known_enrolment

_SEALS = {
    "closed": "Whole and closed",
    "reduced": "Whole, without some sound",
    "open": "Not closed",
    "broken": "Broken",
    "unchecked": "Not checked yet",
    "unreadable": "Cannot be read",
}


def seal_words(seal: str) -> str:
    """Return the state of a seal in words."""
    return _SEALS.get(seal, seal)


@dataclass(frozen=True)
class Dossier:
    """One visit with its verification."""

    evidence: Evidence
    report: VerificationReport
    enrolment: Enrolment | None = None

    @cached_property
    def talk(self) -> list[lines.TranscriptLine]:
        """The talk, line by line."""
        return lines.lines(self.evidence.recorded)

    @cached_property
    def sentence(self) -> str:
        """The outcome."""
        return outcome.sentence(self.evidence)

    @cached_property
    def notables(self) -> list[outcome.Notable]:
        """What to look at first."""
        return outcome.notables(self.evidence, self.talk)

    @cached_property
    def facts(self) -> list[tuple[str, str]]:
        """The facts that the trade has printed."""
        return facts.facts(self.evidence)

    @cached_property
    def measured(self) -> list[tables.Row]:
        """What was found and left, with bands and sets; its headings are the first row."""
        return tables.found_and_left(self.evidence, fully=True)

    @cached_property
    def judged(self) -> tuple[JudgedLine, ...]:
        """The supervisor's list."""
        return judge(self.evidence)

    @cached_property
    def sign_offs(self) -> list[SignOff]:
        """The sign-offs so far."""
        return sign_offs(self.report, self.enrolment)

    def count(self, result: AssessedAs) -> int:
        """Return how many things on the list have a result."""
        return sum(item.finding.result == result for line in self.judged for item in line.items)


def open_dossier(
    folder: Path,
    *,
    alike: list[str] | None = None,
    report: VerificationReport | None = None,
    enrolment: Path | None = None,
) -> Dossier:
    """Read and verify a visit; raises Problem when the folder holds none."""
    report = report or verified(folder, enrolment)
    known = known_enrolment(enrolment)
    return Dossier(Evidence(load(folder), report, alike, enrolment=known), report, known)
