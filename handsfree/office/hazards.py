"""Open hazards: who takes each on, and the words by which it is closed; both signed, in the chain of the verdicts.

A hazard is named by what it is and the entry that shows it, such as `limit-passed-123`: it follows from the
record, and nobody adds or removes one. Its owner is who took it last, or to whom it was given last.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from handsfree.ledger import Clock, SystemClock, VerificationReport
from handsfree.ledger.clock import stamp
from handsfree.office.endorsements import (
    HAZARD_CLOSED,
    HAZARD_TAKEN,
    LONGEST_REMARK,
    Endorsements,
    kept_lines,
    read_endorsements,
    unsigned,
)
from handsfree.office.endorsing import Prepared
from handsfree.office.enrolment import EnrolledKey, Enrolment, Role
from handsfree.problem import Problem


@dataclass(frozen=True)
class HazardStanding:
    """Where a hazard stands: its owner and since when, and by whom, when and with which words it was closed."""

    owner: str = ""
    since: str = ""
    closed_by: str = ""
    closed_at: str = ""
    words: str = ""

    @property
    def open(self) -> bool:
        """Whether nobody has closed it."""
        return not self.closed_at


def standings(signed: Endorsements) -> dict[str, HazardStanding]:
    """Return hazard -> where it stands, of those that an enrolled supervisor said something of.

    One that was closed and is taken on again is open. Of lines signed apart the later in time counts.
    """
    found: dict[str, HazardStanding] = {}
    good = [each for each in signed.lines if each.vouched and not each.fault]
    for each in sorted(good, key=lambda one: (one.at, one.line)):
        name = str(each.says.get("hazard", ""))
        if each.kind == HAZARD_TAKEN:
            found[name] = HazardStanding(str(each.says["owner"]), each.at)
        elif each.kind == HAZARD_CLOSED:
            before = found.get(name, HazardStanding())
            found[name] = replace(before, closed_by=each.name, closed_at=each.at, words=each.remark)
    return found


def owners(enrolment: Enrolment | None) -> tuple[str, ...]:
    """Return the names of all who can own a hazard now: the enrolled supervisors."""
    listed = enrolment.of(Role.SUPERVISOR) if enrolment is not None else ()
    return tuple(sorted({each.name for each in listed if not each.valid_until}))


def prepare_taking(
    report: VerificationReport,
    who: EnrolledKey,
    enrolment: Enrolment | None,
    *,
    hazard: str,
    owner: str,
    clock: Clock | None = None,
) -> Prepared:
    """Return the statement that somebody is the owner of a hazard from now on, ready to be signed.

    Raises Problem when no enrolled supervisor has that name.
    """
    if owner not in owners(enrolment):
        raise Problem(f"no enrolled supervisor is called {owner!r}", remedy="give it to one of the list")
    return _prepared(report, who, enrolment, {"hazard": hazard, "kind": HAZARD_TAKEN, "owner": owner}, clock)


def prepare_closing(
    report: VerificationReport,
    who: EnrolledKey,
    enrolment: Enrolment | None,
    *,
    hazard: str,
    words: str,
    clock: Clock | None = None,
) -> Prepared:
    """Return the statement that a hazard is closed, with what was done about it, ready to be signed.

    Raises Problem without words.
    """
    if not words.strip() or len(words) > LONGEST_REMARK:
        raise Problem(f"say what was done about it, in 1 to {LONGEST_REMARK} characters", where=hazard)
    says = {"hazard": hazard, "kind": HAZARD_CLOSED, "remark": words.strip()}
    return _prepared(report, who, enrolment, says, clock)


def _prepared(
    report: VerificationReport,
    who: EnrolledKey,
    enrolment: Enrolment | None,
    says: dict[str, str],
    clock: Clock | None,
) -> Prepared:
    if report.identity is None:
        raise Problem("this record has no first entry that a statement could be about", where=str(report.folder))
    at = stamp((clock or SystemClock()).now().wall)
    lines = tuple(kept_lines(report.folder))
    standing = read_endorsements(lines, report.identity, enrolment)
    statement = unsigned(report.identity, standing, who, at, says)
    return Prepared((report.folder,), (statement,), who, (lines,))
