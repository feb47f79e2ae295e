"""The approval that a visit says its procedure had, verified again from what is kept with the visit."""

from __future__ import annotations

from handsfree.bundles.statement import LONGEST_STATEMENT, Approval, fault_of_author, read_statement
from handsfree.desk.evidence import Evidence
from handsfree.problem import Problem
from handsfree.regular_files import open_regular
from handsfree.visit.folder import SOURCES
from handsfree.visit.standing import KEPT_APPROVAL


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
        with open_regular(evidence.recorded.folder / SOURCES / KEPT_APPROVAL) as stream:
            approval = read_statement(Approval, stream.read(LONGEST_STATEMENT + 1), KEPT_APPROVAL)
    except OSError:
        return "the approval is not kept with the visit"
    except Problem as problem:
        return problem.what
    told = (opened.procedure, standing.version, opened.procedure_sha256, standing.by, standing.key)
    kept = (approval.procedure, approval.version, approval.procedure_sha256, approval.author, approval.by.key)
    if told != kept or (standing.at, standing.until) != (approval.at, approval.valid_until):
        return "the approval kept with the visit is of another procedure, or of another author"
    return "" if evidence.enrolment is None else fault_of_author(approval, evidence.enrolment)
