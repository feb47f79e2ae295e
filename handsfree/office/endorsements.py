"""What people signed to a record afterwards: sign-offs and redactions, each by their own key, in one chain.

`endorsements.jsonl` lies beside the record. Each line is a statement in canonical form with its signature.
`prev` holds the digests of the lines that none had followed when it was signed, and `number` how many lines there
were: a line that is gone shows, and two copies that were signed apart are merged by putting their lines together.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsfree.ledger.clock import milliseconds
from handsfree.ledger.entry import canonical, digest_of
from handsfree.ledger.files import Disk, Files, contents, disk_problem
from handsfree.ledger.kinds import SOUND_REDACTED, is_digest
from handsfree.ledger.verification import CLOCKS_DIFFER_BY
from handsfree.ledger.visit import VisitFolder
from handsfree.office.enrolment import EnrolledKey, Enrolment, Role, plain_name
from handsfree.office.signatures import MISSHAPEN, fault_of
from handsfree.problem import Problem, one_line

SIGNED_OFF = "signed-off"
ERASED = "erased"
"""A person's data and the sounds of their voice, whose files are deleted; the entries that commit to them stay."""
HAZARD_TAKEN, HAZARD_CLOSED = "hazard-taken", "hazard-closed"
VERDICTS = {
    "accepted": "Accepted",
    "to be redone": "To be redone",
    "not accepted": "Not accepted",
    "returned": "Returned to the technician with a question",
    "passed on": "Passed on to a colleague",
}
"""The last two settle nothing: the visit waits on, for an answer or for somebody else."""
LONGEST_REMARK = 4000
LONGEST_LINE = 64_000
MOST_LINES = 2000

_ALWAYS = frozenset({"at", "by", "kind", "number", "prev", "signature", "visit"})
_MEMBERS = {
    SIGNED_OFF: _ALWAYS | {"count", "digest", "verdict", "remark"},
    SOUND_REDACTED: _ALWAYS | {"sound", "reason"},
    ERASED: _ALWAYS | {"commitments", "sounds", "whose", "reason"},
    HAZARD_TAKEN: _ALWAYS | {"hazard", "owner"},
    HAZARD_CLOSED: _ALWAYS | {"hazard", "remark"},
}
_LISTS = ("commitments", "sounds")


@dataclass(frozen=True)
class Endorsement:
    """One line that is what it says: its digest, who signed it, when, and what.

    `fault` says why it does not hold; `vouched` whether the enrolment list names the signer as one who may;
    `ancestors` are the digests of all lines that it follows.
    """

    line: int
    digest: str
    kind: str
    at: str
    name: str
    role: str
    key: str
    says: Mapping[str, Any]
    fault: str = ""
    vouched: bool = False
    ancestors: frozenset[str] = frozenset()

    @property
    def verdict(self) -> str:
        """The verdict of a sign-off; empty for anything else."""
        return str(self.says.get("verdict", ""))

    @property
    def remark(self) -> str:
        """The remark of a sign-off, or the reason of a redaction."""
        return str(self.says.get("remark", self.says.get("reason", "")))


@dataclass(frozen=True)
class Endorsements:
    """All lines of a visit in their order, and what is wrong, in clauses that name the line (`faults`).

    `tips` are the digests of the lines that hold and that none follows; `count` is how many lines these end.
    """

    lines: tuple[Endorsement, ...] = ()
    tips: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    count: int = 0

    @property
    def standing(self) -> Endorsement | None:
        """The sign-off that holds, whose signer is enrolled, and that no other such one follows.

        Dates, which each machine's clock gives, decide only between those that were signed apart.
        """
        good = [each for each in self.lines if each.kind == SIGNED_OFF and each.vouched and not each.fault]
        followed = frozenset[str]().union(*(each.ancestors for each in good))
        last = (each for each in good if each.digest not in followed)
        return max(last, key=lambda each: (each.at, each.line), default=None)

    def erased(self) -> dict[str, str]:
        """Return commitment or clip -> when, by whom and why it was erased, by a line that holds."""
        return {
            name: f"on {each.at}, by {each.name}, reason: {each.remark}"
            for each in self.lines
            if each.kind == ERASED and each.vouched and not each.fault
            for name in (*each.says["commitments"], *each.says["sounds"])
        }

    def redacted(self) -> dict[str, Endorsement]:
        """Return clip -> the redaction of it that holds and whose signer is enrolled."""
        return {
            str(each.says["sound"]): each
            for each in self.lines
            if each.kind == SOUND_REDACTED and each.vouched and not each.fault
        }


def kept_lines(folder: Path, files: Files | None = None) -> list[bytes]:
    """Return the lines of a visit as they are kept; Problem when they cannot be read or are too many."""
    path = VisitFolder(folder).endorsements
    try:
        data = contents(files or Disk(), path)
    except FileNotFoundError:
        return []
    except OSError as error:
        raise disk_problem(error, "reading what was signed", path) from error
    lines = [line for line in data.split(b"\n") if line]
    if len(lines) > MOST_LINES or any(len(line) > LONGEST_LINE for line in lines):
        raise Problem("this holds more, or longer, lines than people sign", where=str(path))
    return lines


def read_endorsements(
    lines: Sequence[bytes],
    identity: str,
    enrolment: Enrolment | None,
    *,
    head: str | None = None,
    now: int | None = None,
) -> Endorsements:
    """Return what lines say of the visit of that identity.

    `head` is the digest of the closed record: a sign-off of another state of it does not hold. `now` is the time
    (ms since 1970) after which no line can be dated; without it the future is not looked at, so that whoever signs
    next follows such a line too and it never stands again.
    """
    found: list[Endorsement] = []
    faults: list[str] = []
    before: dict[str, frozenset[str]] = {}
    tips: dict[str, None] = {}
    for number, line in enumerate(lines, start=1):
        try:
            members = _members(line)
            each = _endorsement(members, number, digest_of(line), enrolment)
            unfit = _unfit(members, each.digest, before, identity)
        except MISSHAPEN:
            faults.append(f"line {number} of endorsements.jsonl is nothing that a person signed")
            continue
        fault = unfit or each.fault
        if not fault and head is not None and each.kind == SIGNED_OFF and members["digest"] != head:
            fault = "it was made for another state of the record"
        if not fault and now is not None and milliseconds(each.at) > now + CLOCKS_DIFFER_BY:
            fault = f"it is dated {each.at}, and that has not come yet"
        ancestors = _ancestors(members, before)
        if not unfit:
            before[each.digest] = ancestors
        if fault:
            faults.append(f"line {number} of endorsements.jsonl does not hold: {one_line(fault)}")
        else:
            tips = {one: None for one in tips if one not in members["prev"]} | {each.digest: None}
        found.append(replace(each, fault=fault, vouched=each.vouched and not fault, ancestors=ancestors))
    count = len(frozenset(tips).union(*(before[one] for one in tips)))
    return Endorsements(tuple(found), tuple(sorted(tips)), tuple(faults), count)


def unsigned(
    identity: str, before: Endorsements, who: EnrolledKey, at: str, says: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the statement that is to be signed next, after those that hold; `says` has its kind and content."""
    return {
        **says,
        "at": at,
        "by": {"key": who.key, "name": who.name, "role": who.role.value},
        "number": before.count,
        "prev": list(before.tips),
        "visit": identity,
    }


def merged(here: Sequence[bytes], there: Sequence[bytes]) -> list[bytes]:
    """Return the lines of two copies together: those here in their order, then those that only the other has.

    What belongs before a line still stands before it, since the lines of the other copy keep their order.
    """
    known = set(here)
    return [*here, *(line for line in there if line not in known)]


def written(lines: Iterable[bytes]) -> bytes:
    """Return the content of the file that holds these lines."""
    return b"".join(line + b"\n" for line in lines)


def _members(line: bytes) -> dict[str, Any]:
    members: dict[str, Any] = json.loads(line)
    if canonical(members) != line or members.keys() != _MEMBERS[members["kind"]]:
        raise ValueError("other members")
    milliseconds(members["at"])
    if not (isinstance(members["prev"], list) and all(map(is_digest, members["prev"]))):
        raise ValueError("its lines before are no digests")
    if members["kind"] == SIGNED_OFF and (
        members["verdict"] not in VERDICTS or type(members["remark"]) is not str
    ):
        raise ValueError("no verdict")
    if members["kind"] == ERASED and not (
        all(isinstance(members[name], list) and all(map(is_digest, members[name])) for name in _LISTS)
        and all(type(members[name]) is str and members[name] for name in ("whose", "reason"))
    ):
        raise ValueError("no erasure")
    if members["kind"] in {HAZARD_TAKEN, HAZARD_CLOSED} and not all(
        type(members[name]) is str and members[name] for name in _MEMBERS[members["kind"]] - _ALWAYS
    ):
        raise ValueError("no hazard")
    return members


def _endorsement(members: Mapping[str, Any], line: int, digest: str, enrolment: Enrolment | None) -> Endorsement:
    by = members["by"]
    key, name, role = by["key"], plain_name(by["name"]), Role(by["role"])
    if by.keys() != {"key", "name", "role"} or not is_digest(key):
        raise ValueError("nobody")
    fault, vouched = "", False
    if enrolment is not None:
        listed = enrolment.find(key)
        vouched = listed is not None and listed.role is role is Role.SUPERVISOR and listed.valid_at(members["at"])
        if listed is None:
            fault = f"the key of {name} is not enrolled"
        elif listed.name != name or listed.role is not role:
            fault = f"the key that signed for {role} {name} is that of {listed.role} {listed.name}"
        elif not vouched:
            fault = f"{name} was not enrolled as supervisor at {members['at']}"
    says = {one: value for one, value in members.items() if one not in _ALWAYS}
    vouched = vouched and not fault
    return Endorsement(line, digest, members["kind"], members["at"], name, role, key, says, fault, vouched)


def _unfit(members: Mapping[str, Any], digest: str, before: Mapping[str, frozenset[str]], identity: str) -> str:
    """Return why a line does not hold by itself; empty when it does."""
    statement = {name: value for name, value in members.items() if name != "signature"}
    if fault := fault_of(members["signature"], canonical(statement), members["by"]["key"]):
        return fault
    if members["visit"] != identity:
        return "it belongs to another visit"
    if digest in before:
        return "it stands here twice"
    ancestors = _ancestors(members, before)
    if ancestors - before.keys() or members["number"] != len(ancestors):
        return "a line before it was changed or removed"
    return ""


def _ancestors(members: Mapping[str, Any], before: Mapping[str, frozenset[str]]) -> frozenset[str]:
    prev = members["prev"]
    return frozenset(prev).union(*(before.get(one, frozenset()) for one in prev))
