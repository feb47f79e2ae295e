"""Whether the maker's data of a visit was checked by a second person, from what is kept with the visit."""

from __future__ import annotations

from pathlib import Path

from handsfree.bundles.sheet_check import SheetCheck, check_file, checked, read_signed
from handsfree.desk.evidence import Evidence
from handsfree.ledger.files import Disk, contents
from handsfree.lexicon.catalogue import sentence_case
from handsfree.problem import Problem
from handsfree.visit.folder import SOURCES


def second_check(evidence: Evidence) -> str:
    """Return in a sentence who has held the maker's data against the manual; empty where the sheets are not known.

    Only signatures of people on the enrolment list count, for the very bytes that the visit was led by. Whether
    the version was withdrawn later is another question.
    """
    plan = evidence.recorded.plan
    if plan is None:
        return ""
    sheet = evidence.recorded.folder / SOURCES / plan.sheets.job.appliance
    try:
        check = _check(sheet, plan.sheets.appliance.version, evidence)
    except (Problem, OSError):
        return "What people signed of it is kept with the visit, and cannot be read."
    return f"{sentence_case('; '.join((check.sentence, *check.faults)))}."


def _check(sheet: Path, version: str | None, evidence: Evidence) -> SheetCheck:
    signed = read_signed(check_file(sheet))
    if evidence.enrolment is None:
        names = dict.fromkeys(one.by.name for one in signed)
        return SheetCheck((), (f"signed by {', '.join(names)}, whom nobody vouches for here",) if names else ())
    return checked(contents(Disk(), sheet), version, signed, evidence.enrolment)
