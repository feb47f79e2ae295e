"""The sign-offs of a visit as pages and terminal show them: those signed by enrolled people, and older ones.

Before people had keys of their own a sign-off was a line of `signoff.jsonl` with a name that was typed, under a
key of the machine: RFC 8785 JSON with `at`, `by`, `count` and `digest` of the closed head, `key`, `kind`,
`prev` (SHA-256 of the line before), `remark`, `seal`, `verdict` and `visit`. Such lines are still read, and show
nothing of a person.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.ledger import VerificationReport
from handsfree.ledger.entry import NOTHING_BEFORE, canonical, digest_of
from handsfree.ledger.files import Disk, contents, disk_problem
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import VisitFolder
from handsfree.office.endorsements import SIGNED_OFF, VERDICTS, kept_lines
from handsfree.office.enrolment import Enrolment
from handsfree.office.verification import endorsed

TYPED = "the name was typed, and anybody could have typed it"
UNKNOWN = "no enrolment list is here to say whose key it is"
_MEMBERS = frozenset({"at", "by", "count", "digest", "key", "kind", "prev", "remark", "seal", "verdict", "visit"})


@dataclass(frozen=True)
class SignOff:
    """One sign-off: who said what, when, by which key.

    `fault` says why it does not hold, `doubt` why it shows nothing of a person although it holds; both are empty
    in one that counts.
    """

    at: str
    by: str
    verdict: str
    remark: str
    key: str
    fault: str = ""
    doubt: str = ""

    @property
    def counts(self) -> bool:
        """Say whether an enrolled person said this of this record."""
        return not self.fault and not self.doubt


def sign_offs(report: VerificationReport, enrolment: Enrolment | None) -> list[SignOff]:
    """Return all sign-offs of a visit that was verified, older ones first."""
    signed = endorsed(report, kept_lines(report.folder), enrolment)
    return [
        *older(report),
        *(
            SignOff(
                each.at,
                each.name,
                each.verdict,
                each.remark,
                each.key,
                each.fault,
                "" if each.vouched or each.fault else UNKNOWN,
            )
            for each in signed.lines
            if each.kind == SIGNED_OFF
        ),
    ]


def older(report: VerificationReport) -> list[SignOff]:
    """Return the sign-offs of `signoff.jsonl`; each that does not hold for this visit says why."""
    found, prev = [], NOTHING_BEFORE
    digest = report.head.digest if report.head else ""
    for line in _older_lines(report.folder):
        try:
            members = json.loads(line)
            fault = _fault(members, prev, report.identity or "", digest)
            found.append(_read(members, fault))
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            found.append(SignOff("", "", "", "", "", "this line is not a sign-off"))
        prev = digest_of(line)
    return found


def _fault(members: Mapping[str, Any], prev: str, identity: str, digest: str) -> str:
    if members.keys() != _MEMBERS or members["kind"] != SIGNED_OFF or members["verdict"] not in VERDICTS:
        return "this line is not a sign-off"
    unsigned = {name: value for name, value in members.items() if name != "seal"}
    if not holds(bytes.fromhex(members["key"]), bytes.fromhex(members["seal"]), canonical(unsigned)):
        return "the signature does not fit"
    if members["prev"] != prev:
        return "a line before it was changed or removed"
    if members["visit"] != identity:
        return "it belongs to another visit"
    return "" if members["digest"] == digest else "it was made for another state of the record"


def _read(members: Mapping[str, Any], fault: str) -> SignOff:
    at, by, verdict, remark, key = (str(members[name])[:4000] for name in ("at", "by", "verdict", "remark", "key"))
    return SignOff(at, by[:80], verdict, remark, key, fault, "" if fault else TYPED)


def _older_lines(folder: Path) -> list[bytes]:
    path = VisitFolder(folder).signoff
    try:
        return [line for line in contents(Disk(), path).split(b"\n") if line]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise disk_problem(error, "reading the sign-offs", path) from error
