"""The approval that a visit says its procedure had, verified again from what is kept with the visit."""

from __future__ import annotations

from handsfree.bundles.statement import fault_of_author
from handsfree.desk.evidence import Evidence
from handsfree.problem import Problem
from handsfree.visit.standing import kept_approval


def fault_of_approval(evidence: Evidence) -> str:
    """Return why the approval does not hold that the first entry tells of; empty when it does, or none is told.

    Whether its author is enrolled is looked at where the enrolment list is known. Whether it was withdrawn later
    is another question, `across withdrawn`.
    """
    opened = evidence.recorded.opened
    standing = opened.standing
    if standing is None or standing.status != "approved":
        return ""
    try:
        approval = kept_approval(evidence.recorded.folder, opened)
    except Problem as problem:
        return problem.what
    return "" if evidence.enrolment is None else fault_of_author(approval, evidence.enrolment)
