"""A supervisor's verdict and remark on a closed record, signed, in `signoff.jsonl` beside it.

Each line is RFC 8785 JSON: `at`, `by`, `count` and `digest` of the closed head, `key` (Ed25519 public key, hex),
`kind`, `prev` (SHA-256 of the line before), `remark`, `seal` (the signature over the line without it), `verdict`
and `visit` (the digest of the first entry). The ledger itself is not touched.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from handsfree.ledger import Clock, RecordVerdict, SystemClock, VerificationReport, state_folder
from handsfree.ledger.clock import stamp
from handsfree.ledger.entry import NOTHING_BEFORE, canonical, digest_of
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.problem import Problem

VERDICTS = {"accepted": "Accepted", "to be redone": "To be redone", "not accepted": "Not accepted"}
KIND = "signed-off"
LONGEST = 4000
_MEMBERS = frozenset({"at", "by", "count", "digest", "key", "kind", "prev", "remark", "seal", "verdict", "visit"})


@dataclass(frozen=True)
class SignOff:
    """One line: who said what of which head, when, and whether the signature holds for this record."""

    at: str
    by: str
    verdict: str
    remark: str
    key: str
    fault: str = ""


class SupervisorKey:
    """The supervisor's own Ed25519 key in the state folder, made on first use, readable by its owner only."""

    def __init__(self, state: Path | None = None) -> None:
        self.folder = state or state_folder()
        self._path = self.folder / "supervisor.key"

    def secret(self) -> Ed25519PrivateKey:
        """Return the key; Problem when the state folder cannot be used."""
        files = Disk()
        try:
            ensure_folder(files, self.folder, 0o700)
            release = files.lock(self.folder / "supervisor.lock", 10)
            try:
                if not self._path.exists():
                    put(files, self._path, Ed25519PrivateKey.generate().private_bytes_raw().hex().encode(), 0o600)
                return Ed25519PrivateKey.from_private_bytes(bytes.fromhex(self._path.read_text("ascii").strip()))
            finally:
                release()
        except ValueError as error:
            raise Problem(
                "this is not a supervisor's key", where=str(self._path), remedy="put the right one back"
            ) from error
        except OSError as error:
            raise disk_problem(error, "using the supervisor's key", self.folder) from error

    def public(self) -> str:
        """Return the public key, 64 hex digits."""
        return self.secret().public_key().public_bytes_raw().hex()


def sign_off(
    report: VerificationReport,
    *,
    by: str,
    verdict: str,
    remark: str,
    key: SupervisorKey | None = None,
    clock: Clock | None = None,
) -> SignOff:
    """Append a signed line for the record that was just verified.

    Raises Problem when the record is not closed and whole, when nobody is named, when the verdict is none of
    ours, when a verdict other than acceptance gives no remark, or when the disk fails.
    """
    if report.verdict != RecordVerdict.CLOSED or report.head is None or report.identity is None:
        raise Problem("only a closed record that is whole can be signed off", where=str(report.folder))
    if verdict == "accepted" and report.anchor is not None and not report.anchor.holds:
        raise Problem(
            f"a record that nobody vouches for cannot be accepted: {report.anchor.says}",
            where=str(report.folder),
            remedy="enrol the device first: handsfree enrol add device NAME KEY",
        )
    if not by.strip():
        raise Problem("a sign-off names who makes it")
    if verdict not in VERDICTS:
        raise Problem(f"{verdict!r} is no verdict", remedy=f"choose one of: {', '.join(VERDICTS)}")
    if verdict != "accepted" and not remark.strip():
        raise Problem("say in the remark what is to be done", where=verdict)
    if len(remark) > LONGEST:
        raise Problem(f"the remark is longer than {LONGEST} characters", remedy="shorten it")
    key = key or SupervisorKey()
    secret = key.secret()
    path, files = report.folder / "signoff.jsonl", Disk()
    try:
        release = files.lock(key.folder / "signoff.lock", 10)
        try:
            before = lines_signed(report.folder)
            members = {
                "at": stamp((clock or SystemClock()).now().wall),
                "by": by.strip(),
                "count": report.head.count,
                "digest": report.head.digest,
                "key": secret.public_key().public_bytes_raw().hex(),
                "kind": KIND,
                "prev": digest_of(before[-1]) if before else NOTHING_BEFORE,
                "remark": remark.strip(),
                "verdict": verdict,
                "visit": report.identity,
            }
            line = canonical({**members, "seal": secret.sign(canonical(members)).hex()})
            put(files, path, b"".join(each + b"\n" for each in [*before, line]))
        finally:
            release()
    except OSError as error:
        raise disk_problem(error, "signing off", path) from error
    return _read(members, "")


def sign_offs(report: VerificationReport, lines: list[bytes] | None = None) -> list[SignOff]:
    """Return all sign-offs of a visit, or what lines would say of it; each that does not hold for it says why."""
    found, prev = [], NOTHING_BEFORE
    digest = report.head.digest if report.head else ""
    for line in lines_signed(report.folder) if lines is None else lines:
        try:
            members = json.loads(line)
            fault = _fault(members, prev, report.identity or "", digest)
            found.append(_read(members, fault))
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            found.append(SignOff("", "", "", "", "", "this line is not a sign-off"))
        prev = digest_of(line)
    return found


def _fault(members: Mapping[str, Any], prev: str, identity: str, digest: str) -> str:
    if members.keys() != _MEMBERS or members["kind"] != KIND or members["verdict"] not in VERDICTS:
        return "this line is not a sign-off"
    unsigned = {name: value for name, value in members.items() if name != "seal"}
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(members["key"])).verify(
            bytes.fromhex(members["seal"]), canonical(unsigned)
        )
    except InvalidSignature:
        return "the signature does not fit"
    if members["prev"] != prev:
        return "a line before it was changed or removed"
    if members["visit"] != identity:
        return "it belongs to another visit"
    return "" if members["digest"] == digest else "it was made for another state of the record"


def _read(members: Mapping[str, Any], fault: str) -> SignOff:
    at, by, verdict, remark, key = (str(members[name]) for name in ("at", "by", "verdict", "remark", "key"))
    return SignOff(at, by, verdict, remark, key, fault)


def lines_signed(folder: Path) -> list[bytes]:
    """Return the lines of a visit's sign-offs as they are kept; none where there are none."""
    path = folder / "signoff.jsonl"
    try:
        return [line for line in contents(Disk(), path).split(b"\n") if line]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise disk_problem(error, "reading the sign-offs", path) from error
