"""The enrolment list: whose keys the office knows, each with its role, from when and until when.

The list is a file of canonical JSON lines (RFC 8785), each chained to the one before by its SHA-256 and signed
with the office's Ed25519 key. Nothing is ever changed in it: a key is revoked by a further line. FORMAT.md of the
ledger describes every member.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from handsfree.ledger.clock import milliseconds
from handsfree.ledger.entry import NOTHING_BEFORE, canonical, digest_of
from handsfree.ledger.files import Disk, Files, contents, disk_problem
from handsfree.ledger.head import Head
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import is_plain_name
from handsfree.problem import ExitCode, Problem, one_line

NAME = "enrolment.jsonl"
"""How the file is called where nobody says otherwise."""

FORMAT = 1
LONGEST_LIST = 8 << 20
"""Bytes; some ten thousand keys."""
LONGEST_NAME = 80

OFFICE, ENROLLED, REVOKED = "office", "enrolled", "revoked"
_ALWAYS = frozenset({"at", "kind", "number", "prev", "seal"})
_MEMBERS = {
    OFFICE: _ALWAYS | {"format", "key", "name", "own"},
    ENROLLED: _ALWAYS | {"key", "name", "role", "valid_from", "passkey"},
    REVOKED: _ALWAYS | {"key", "valid_until", "why"},
}


class Role(StrEnum):
    """What a key may be used for."""

    DEVICE = "device"
    TECHNICIAN = "technician"
    SUPERVISOR = "supervisor"
    AUTHOR = "author"
    RECEIVER = "receiver"
    """The office's machine that takes visits in over the network, and signs receipts unattended."""


@dataclass(frozen=True)
class Passkey:
    """The public part of a passkey: credential and COSE public key (both hex), and the host it was made for."""

    credential: str
    public_key: str
    host: str


@dataclass(frozen=True)
class EnrolledKey:
    """One key: whose, as what, from when and until when (RFC 3339); `valid_until` is empty while it stands."""

    key: str
    name: str
    role: Role
    valid_from: str
    passkey: Passkey | None = None
    valid_until: str = ""
    why: str = ""
    offices: tuple[str, ...] | None = None
    """The offices whose visits a supervisor looks after, all where None; the office of a device, if it has one."""

    def valid_at(self, at: str) -> bool:
        """Say whether the key stood at a time; both are written alike, so their text sorts as they do."""
        return self.valid_from <= at and (not self.valid_until or at < self.valid_until)


@dataclass(frozen=True)
class Enrolment:
    """A whole list that was checked: the office's name and key, all keys by themselves, its head.

    `own` says that a machine made the list for itself, so that nobody else vouches for it.
    """

    office: str
    office_key: str
    own: bool
    keys: Mapping[str, EnrolledKey]
    head: Head
    where: str = ""

    def find(self, key: str, *roles: Role) -> EnrolledKey | None:
        """Return what the list says of a key, in one of the roles where some are named."""
        found = self.keys.get(key)
        return found if found and (not roles or found.role in roles) else None

    def of(self, *roles: Role) -> tuple[EnrolledKey, ...]:
        """Return all keys of some roles, in the order of their enrolment."""
        return tuple(each for each in self.keys.values() if each.role in roles)


def read_enrolment(path: Path, files: Files | None = None) -> Enrolment:
    """Return the list in a file, checked from its first line to its last.

    Raises Problem, naming the line, when there is none, a line was changed, removed or added, or a seal does
    not fit.
    """
    return enrolment_of(list_lines(path, files), str(path))


def list_lines(path: Path, files: Files | None = None) -> list[bytes]:
    """Return the lines of the file as they stand; Problem when it cannot be read."""
    try:
        data = contents(files or Disk(), path)
    except FileNotFoundError:
        raise Problem(
            "there is no enrolment list", where=str(path), remedy="make one with: handsfree enrol begin"
        ) from None
    except OSError as error:
        raise disk_problem(error, "reading the enrolment list", path) from error
    if len(data) > LONGEST_LIST:
        raise Problem("this is larger than any enrolment list", where=str(path))
    if not data.endswith(b"\n"):
        raise Problem("its last line is cut off", where=str(path), remedy="ask the office for the list again")
    return data[:-1].split(b"\n")


def enrolment_of(lines: Sequence[bytes], where: str) -> Enrolment:
    """Return the list that these lines make; Problem, naming the line, when they make none."""
    found: Enrolment | None = None
    for number, line in enumerate(lines):
        try:
            found = _followed(found, number, line)
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
            raise Problem(
                one_line(f"this line of the enrolment list does not hold: {_why(error)}"),
                where=f"{where}:{number + 1}",
                remedy="ask the office for the list again",
                code=ExitCode.FAILED,
            ) from error
    if found is None:
        raise Problem("the enrolment list is empty", where=where)
    return replace(found, where=where)


def _why(error: Exception) -> str:
    return str(error) if isinstance(error, _UnfitError) else "it is no line of such a list"


class _UnfitError(ValueError):
    """Why a line may not follow."""


def _followed(before: Enrolment | None, number: int, line: bytes) -> Enrolment:
    """Return the list with one line more."""
    members: dict[str, Any] = json.loads(line)
    kind = members["kind"]
    allowed = _MEMBERS[kind] | (members.keys() & {"offices"} if kind == ENROLLED else set())
    if members.keys() != allowed or canonical(members) != line:
        raise _UnfitError("it has other members than it must, or is not in canonical form")
    milliseconds(members["at"])
    if not is_digest(members["key"]):
        raise _UnfitError("its key is not 64 hex digits")
    if members["number"] != number or members["prev"] != (before.head.digest if before else NOTHING_BEFORE):
        raise _UnfitError("a line before it was changed, added or removed")
    seal = bytes.fromhex(members["seal"])
    unsealed = canonical({name: value for name, value in members.items() if name != "seal"})
    office_key = before.office_key if before else members["key"]
    if not holds(bytes.fromhex(office_key), seal, unsealed):
        raise _UnfitError("its seal is not the office's")
    head = Head(number + 1, digest_of(line))
    if before is None:
        if kind != OFFICE or members["format"] != FORMAT or type(members["own"]) is not bool:
            raise _UnfitError("a list begins with its office")
        return Enrolment(plain_name(members["name"]), office_key, members["own"], {}, head)
    if kind == ENROLLED:
        key = _enrolled(members)
        if key.key in before.keys:
            raise _UnfitError("it enrols a key a second time")
        return replace(before, keys={**before.keys, key.key: key}, head=head)
    if kind == REVOKED:
        milliseconds(members["valid_until"])
        revoked = replace(before.keys[members["key"]], valid_until=members["valid_until"], why=str(members["why"]))
        return replace(before, keys={**before.keys, revoked.key: revoked}, head=head)
    raise _UnfitError("a list has one office")


def _enrolled(members: Mapping[str, Any]) -> EnrolledKey:
    milliseconds(members["valid_from"])
    given = members["passkey"]
    passkey = None if given is None else Passkey(**{name: str(value) for name, value in given.items()})
    offices = tuple(plain_name(each) for each in members["offices"]) if "offices" in members else None
    name, role = plain_name(members["name"]), Role(members["role"])
    if offices is not None and (not offices or (unfit := unfit_offices(role, offices))):
        raise _UnfitError(unfit if offices else "a supervisor looks after one office or more")
    return EnrolledKey(members["key"], name, role, members["valid_from"], passkey, offices=offices)


def unfit_offices(role: Role, offices: Sequence[str]) -> str:
    """Return why a key of a role may not have these offices; empty when it may.

    A device's office is the folder that its visits are laid into, so it is a name that a folder can have.
    """
    if role is Role.SUPERVISOR or not offices:
        return ""
    if role is not Role.DEVICE:
        return "a supervisor looks after offices, and a device belongs to one; nobody else has any"
    if len(offices) > 1:
        return "a device belongs to one office"
    if not is_plain_name(offices[0]) or offices[0].startswith("."):
        return "a device's office is the name of a folder: no slash, and no dot at its beginning"
    return ""


def plain_name(name: Any) -> str:
    """Return a name that can stand in a line; ValueError when it is none."""
    if not isinstance(name, str) or not name.strip() or len(name) > LONGEST_NAME or not name.isprintable():
        raise _UnfitError(f"a name is 1 to {LONGEST_NAME} printed characters")
    return name
