"""Writing the enrolment list: it is begun once, then only lines are added."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from handsfree.ledger.clock import Clock, SystemClock, stamp
from handsfree.ledger.entry import NOTHING_BEFORE, canonical
from handsfree.ledger.files import Disk, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import is_digest
from handsfree.office.enrolment import (
    ENROLLED,
    FORMAT,
    OFFICE,
    REVOKED,
    EnrolledKey,
    Enrolment,
    Passkey,
    Role,
    enrolment_of,
    list_lines,
    plain_name,
    read_enrolment,
    unfit_offices,
)
from handsfree.office.kept_key import KeptKey
from handsfree.problem import ExitCode, Problem

LONGEST_REASON = 400


def begin(path: Path, key: KeptKey, name: str, *, own: bool = False, clock: Clock | None = None) -> Enrolment:
    """Begin a list in a new file; Problem when there is one already or the disk fails."""
    if path.exists():
        raise Problem("there is an enrolment list already", where=str(path), remedy="add to it, or name another")
    members = {"kind": OFFICE, "format": FORMAT, "key": key.public, "name": _name(name), "own": own}
    return _written(path, [], key, members, clock)


def add(
    path: Path,
    office: KeptKey,
    *,
    key: str,
    name: str,
    role: Role,
    passkey: Passkey | None = None,
    offices: Sequence[str] = (),
    valid_from: str | None = None,
    clock: Clock | None = None,
) -> EnrolledKey:
    """Enrol a key. Raises Problem when the list does not hold, the key is on it, or it is no key."""
    if not is_digest(key):
        raise Problem("a key is 64 hex digits", where=repr(key))
    if unfit := unfit_offices(role, [each.strip() for each in offices]):
        raise Problem(unfit, where=role.value)

    def members(before: Enrolment, now: str) -> dict[str, Any]:
        if there := before.find(key):
            raise Problem(f"this key is enrolled already, as {there.role} {there.name}", where=str(path))
        return {
            "key": key,
            "name": _name(name),
            "passkey": None if passkey is None else asdict(passkey),
            "role": role.value,
            "valid_from": valid_from or now,
            **({"offices": [_name(each) for each in offices]} if offices else {}),
        }

    return _appended(path, office, ENROLLED, members, clock).keys[key]


def revoke(
    path: Path, office: KeptKey, *, key: str, why: str, valid_until: str | None = None, clock: Clock | None = None
) -> EnrolledKey:
    """Revoke a key from a time on, now when none is said; a second revocation may set an earlier time.

    Raises Problem when the key is not on the list, or no reason is given.
    """
    if not why.strip() or len(why) > LONGEST_REASON:
        raise Problem(f"say why in 1 to {LONGEST_REASON} characters", where="revoke")

    def members(before: Enrolment, now: str) -> dict[str, Any]:
        until, there = valid_until or now, before.find(key)
        if there is None:
            raise Problem("this key is not enrolled", where=str(path), remedy="look at: handsfree enrol list")
        if there.valid_until and there.valid_until <= until:
            raise Problem(f"this key is revoked already, from {there.valid_until} on", where=str(path))
        return {"key": key, "valid_until": until, "why": why.strip()}

    return _appended(path, office, REVOKED, members, clock).keys[key]


def take_over(given: Path, path: Path) -> Enrolment:
    """Take a newer list over in place of the one here; Problem when it does not go on from that one.

    A list that is shorter, of another office, or differs in a line that is here already is refused.
    """
    lines = list_lines(given)
    enrolment = enrolment_of(lines, str(given))
    if path.exists():
        here = list_lines(path)
        if lines[: len(here)] != here:
            raise Problem(
                f"this list does not go on from the one at {path}",
                where=str(given),
                remedy="ask the office which of the two is theirs",
                code=ExitCode.FAILED,
            )
    _put(path, lines)
    return enrolment


_Members = Callable[[Enrolment, str], Mapping[str, Any]]


def _appended(path: Path, office: KeptKey, kind: str, members: _Members, clock: Clock | None) -> Enrolment:
    try:
        release = Disk().lock(path.with_name(path.name + ".lock"), 10)
    except OSError as error:
        raise disk_problem(error, "writing the enrolment list", path) from error
    try:
        lines, before = list_lines(path), read_enrolment(path)
        if office.public != before.office_key:
            raise Problem("this is not the key of the office that keeps the list", where=str(path))
        moment = (clock or SystemClock()).now()
        more = {"kind": kind, **members(before, stamp(moment.wall))}
        return _written(path, lines, office, more, clock)
    finally:
        release()


def _written(
    path: Path, lines: list[bytes], key: KeptKey, more: Mapping[str, Any], clock: Clock | None
) -> Enrolment:
    prev = enrolment_of(lines, str(path)).head.digest if lines else NOTHING_BEFORE
    members = {
        **more,
        "at": stamp((clock or SystemClock()).now().wall),
        "number": len(lines),
        "prev": prev,
    }
    lines = [*lines, canonical({**members, "seal": key.sign(canonical(members)).hex()})]
    enrolment = enrolment_of(lines, str(path))
    _put(path, lines)
    return enrolment


def _put(path: Path, lines: list[bytes]) -> None:
    files = Disk()
    try:
        ensure_folder(files, path.parent, 0o755)
        put(files, path, b"".join(line + b"\n" for line in lines))
    except OSError as error:
        raise disk_problem(error, "writing the enrolment list", path) from error


def _name(name: str) -> str:
    try:
        return plain_name(name.strip())
    except ValueError as error:
        raise Problem(str(error), where=repr(name)) from error
