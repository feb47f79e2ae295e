"""The enrolment list: signed, chained, only added to; whatever is done to it otherwise is told with its line."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from lists import OFFICE

from handsfree.ledger import Moment
from handsfree.office.enrolling import add, begin, revoke, take_over
from handsfree.office.enrolment import NAME, Role, read_enrolment
from handsfree.office.kept_key import KeptKey, make_key, open_key
from handsfree.problem import Problem

DEVICE, PERSON = "ab" * 32, Ed25519PrivateKey.generate().public_key().public_bytes_raw().hex()


class At:
    """A clock that stands still."""

    def __init__(self, wall: int = 1_795_000_000_000) -> None:
        self.wall = wall

    def now(self) -> Moment:
        return Moment(self.wall, 0, "boot")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A list with a device and a supervisor whose key was revoked later."""
    path = tmp_path / NAME
    begin(path, OFFICE, "The office of Larkmoor")
    add(path, OFFICE, key=DEVICE, name="tablet 1", role=Role.DEVICE)
    add(path, OFFICE, key=PERSON, name="A. Example", role=Role.SUPERVISOR, clock=At())
    revoke(path, OFFICE, key=PERSON, why="left", clock=At(1_795_300_000_000))
    return path


def test_every_line_is_canonical_chained_and_signed_by_the_standards_alone(path: Path) -> None:
    """RFC 8785 bytes (rfc8785), SHA-256 (hashlib), RFC 8032 signatures (cryptography): no code of ours."""
    prev, office = "0" * 64, None
    for number, line in enumerate(path.read_bytes().splitlines()):
        members = json.loads(line)
        assert rfc8785.dumps(members) == line
        assert (members["number"], members["prev"]) == (number, prev)
        office = office or Ed25519PublicKey.from_public_bytes(bytes.fromhex(members["key"]))
        seal = bytes.fromhex(members.pop("seal"))
        office.verify(seal, rfc8785.dumps(members))
        prev = hashlib.sha256(line).hexdigest()
    assert read_enrolment(path).head.digest == prev


def test_a_key_stands_from_its_enrolment_to_its_revocation(path: Path) -> None:
    """Before the one and from the other on it does not; what was in between stays good."""
    key = read_enrolment(path).find(PERSON)
    assert key is not None
    assert not key.valid_at("2026-11-18T00:00:00.000Z")
    assert key.valid_at("2026-11-19T00:00:00.000Z")
    assert not key.valid_at("2026-11-22T00:00:00.000Z")
    assert (key.name, key.role, key.why) == ("A. Example", Role.SUPERVISOR, "left")
    assert read_enrolment(path).find(PERSON, Role.DEVICE) is None


def altered(line: bytes, **to: object) -> bytes:
    return rfc8785.dumps({**json.loads(line), **to})


def resealed(line: bytes, key: KeptKey, **to: object) -> bytes:
    members = {**json.loads(line), **to}
    members.pop("seal")
    return rfc8785.dumps({**members, "seal": key.sign(rfc8785.dumps(members)).hex()})


STRANGER = KeptKey(Ed25519PrivateKey.generate())


@pytest.mark.parametrize(
    ("change", "line", "says"),
    [
        (
            lambda lines: [*lines[:1], altered(lines[1], name="Mine"), *lines[2:]],
            2,
            "its seal is not the office's",
        ),
        (lambda lines: [*lines[:2], *lines[3:]], 3, "a line before it was changed, added or removed"),
        (lambda lines: [lines[0], lines[2], lines[1], lines[3]], 2, "a line before it was changed"),
        (lambda lines: [*lines[:1], resealed(lines[1], STRANGER)], 2, "its seal is not the office's"),
        (lambda lines: [*lines, resealed(lines[1], OFFICE, number=4)], 5, "a line before it"),
        (lambda lines: [b"{}", *lines], 1, "no line of such a list"),
        (lambda lines: [*lines, b"[" * 10_000], 5, "no line of such a list"),
        (lambda lines: [*lines[:1], lines[1].replace(b",", b", ", 1)], 2, "canonical form"),
        (lambda lines: [resealed(lines[0], OFFICE, name="x" * 81)], 1, "a name is 1 to 80"),
        (lambda lines: [resealed(lines[0], OFFICE, name="a\x1b[2Jb")], 1, "a name is 1 to 80"),
    ],
)
def test_what_was_changed_added_or_removed_is_told_with_its_line(path: Path, change, line: int, says: str) -> None:
    path.write_bytes(b"".join(each + b"\n" for each in change(path.read_bytes().splitlines())))
    with pytest.raises(Problem, match=says) as problem:
        read_enrolment(path)
    assert problem.value.where == f"{path}:{line}"


def test_a_cut_line_and_no_list_are_told(path: Path, tmp_path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(Problem, match="cut off"):
        read_enrolment(path)
    with pytest.raises(Problem, match="no enrolment list"):
        read_enrolment(tmp_path / "none")


def test_a_key_is_enrolled_once_and_revoked_with_a_reason(path: Path) -> None:
    with pytest.raises(Problem, match=r"enrolled already, as supervisor A\. Example"):
        add(path, OFFICE, key=PERSON, name="Other", role=Role.AUTHOR)
    with pytest.raises(Problem, match="revoked already"):
        revoke(path, OFFICE, key=PERSON, why="again")
    with pytest.raises(Problem, match="say why"):
        revoke(path, OFFICE, key=DEVICE, why=" ")
    with pytest.raises(Problem, match="not enrolled"):
        revoke(path, OFFICE, key="cd" * 32, why="x")
    with pytest.raises(Problem, match="not the key of the office"):
        add(path, STRANGER, key="cd" * 32, name="Mine", role=Role.DEVICE)
    with pytest.raises(Problem, match="64 hex digits"):
        add(path, OFFICE, key="cd", name="Mine", role=Role.DEVICE)
    with pytest.raises(Problem, match="1 to 80"):
        add(path, OFFICE, key="cd" * 32, name="  ", role=Role.DEVICE)
    revoke(path, OFFICE, key=PERSON, why="stolen before", valid_until="2026-11-20T00:00:00.000Z")
    assert read_enrolment(path).keys[PERSON].valid_until == "2026-11-20T00:00:00.000Z"


def test_a_list_is_taken_over_only_when_it_goes_on_from_the_one_here(path: Path, tmp_path: Path) -> None:
    """An older list, or one of somebody who calls himself the same office, is refused."""
    here, older = tmp_path / "here" / NAME, tmp_path / "older"
    older.write_bytes(path.read_bytes())
    take_over(path, here)
    add(path, OFFICE, key="cd" * 32, name="tablet 9", role=Role.DEVICE)
    assert take_over(path, here).find("cd" * 32) is not None
    with pytest.raises(Problem, match="does not go on"):
        take_over(older, here)
    forged = tmp_path / "forged"
    begin(forged, STRANGER, "The office of Larkmoor")
    with pytest.raises(Problem, match="does not go on"):
        take_over(forged, here)
    assert read_enrolment(here).find("cd" * 32) is not None


def test_a_kept_key_opens_with_its_passphrase_alone(tmp_path: Path) -> None:
    """Encrypted PKCS#8, for its owner only; a second key does not replace it."""
    path = tmp_path / "me.pem"
    key = make_key(path, "correct horse battery")
    assert open_key(path, "correct horse battery").public == key.public
    assert b"BEGIN ENCRYPTED PRIVATE KEY" in path.read_bytes()
    assert path.stat().st_mode & 0o777 == 0o600
    for given, says in (("wrong words here", "does not open"), (None, "needs its passphrase")):
        with pytest.raises(Problem, match=says):
            open_key(path, given)
    with pytest.raises(Problem, match="there is a key already"):
        make_key(path, "correct horse battery")
    with pytest.raises(Problem, match="too short"):
        make_key(tmp_path / "other.pem", "short")
