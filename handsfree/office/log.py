"""The office's log: the heads of visits and of what was signed to them, only ever added to.

`log.jsonl` holds a canonical object a line (RFC 8785), each a leaf of the tree of RFC 9162, section 2.1.
`checkpoint` holds the tree's size and root as a signed note (C2SP signed-note, tlog-checkpoint), so whoever kept
an older one can tell whether anything in it was changed or taken out.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.ledger import Clock, SystemClock, VerificationReport, merkle
from handsfree.ledger.clock import stamp
from handsfree.ledger.entry import canonical, digest_of
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import VisitFolder
from handsfree.office.endorsements import kept_lines
from handsfree.office.kept_key import KeptKey
from handsfree.problem import ExitCode, Problem

ORIGIN = "handsfree/office-log"
"""The first line of a checkpoint and the name of its key."""
ED25519_NOTE = b"\x01"
"""The kind of signature, by the signed-note specification: Ed25519."""
LONGEST_LOG = 256 << 20
_MEMBERS = {
    "visit": {"at", "closed_at", "count", "device", "digest", "kind", "opened_at", "tree", "use", "visit"},
    "endorsement": {"at", "digest", "kind", "visit"},
    "credential": {"at", "device", "digest", "kind", "use"},
}
"""What a leaf holds, by its kind."""
_NOTE = re.compile(r"([^\n]+)\n(0|[1-9]\d{0,18})\n([A-Za-z0-9+/]+={0,2})\n\n— (\S+) ([A-Za-z0-9+/]+={0,2})\n")


@dataclass(frozen=True)
class Checkpoint:
    """The size and root of the log at some time."""

    size: int
    root: bytes

    def signed(self, key: KeptKey) -> str:
        """Return the checkpoint as a signed note."""
        body = f"{ORIGIN}\n{self.size}\n{base64.b64encode(self.root).decode()}\n"
        seal = base64.b64encode(_key_id(key.public) + key.sign(body.encode())).decode()
        return f"{body}\n— {ORIGIN} {seal}\n"

    @staticmethod
    def of(note: str, public: str) -> Checkpoint:
        """Return the checkpoint that a note holds; Problem when it is none, or another key signed it."""
        found = _NOTE.fullmatch(note)
        if not found:
            raise Problem("this is not a checkpoint of a log", where=repr(note[:40]))
        origin, size, root, name, seal = found.groups()
        try:
            both, tree = base64.b64decode(seal, validate=True), base64.b64decode(root, validate=True)
        except binascii.Error as error:
            raise Problem("this is not a checkpoint of a log", where=repr(note[:40])) from error
        body = note[: note.index("\n\n") + 1].encode()
        if (
            {origin, name} != {ORIGIN}
            or both[:4] != _key_id(public)
            or not holds(bytes.fromhex(public), both[4:], body)
        ):
            raise Problem("the checkpoint is not signed by the key of this log", code=ExitCode.FAILED)
        return Checkpoint(int(size), tree)


def size_told(note: str) -> int:
    """Return how many lines a checkpoint says it counts, whoever signed it; Problem when it is none."""
    found = _NOTE.fullmatch(note)
    if not found:
        raise Problem("this is not a checkpoint of a log", where=repr(note[:40]))
    return int(found[2])


def _key_id(public: str) -> bytes:
    """Return the first four bytes of SHA-256(name, line feed, kind, key): signed-note, key IDs."""
    return hashlib.sha256(ORIGIN.encode() + b"\n" + ED25519_NOTE + bytes.fromhex(public)).digest()[:4]


def log_lines(folder: Path) -> list[bytes]:
    """Return the leaves of a log; none where it has not begun. Problem when it cannot be read or is cut."""
    path = folder / "log.jsonl"
    try:
        data = contents(Disk(), path)
    except FileNotFoundError:
        return []
    except OSError as error:
        raise disk_problem(error, "reading the log", path) from error
    if len(data) > LONGEST_LOG or (data and not data.endswith(b"\n")):
        raise Problem("the log is cut off, or larger than any", where=str(path), code=ExitCode.FAILED)
    return data.split(b"\n")[:-1]


def leaves_of(report: VerificationReport, at: str) -> list[dict[str, Any]]:
    """Return what the log is to hold of a whole record: its head, the root over its lines, and what was signed."""
    if not report.whole or report.head is None or report.demo:
        raise Problem("only a closed record that is whole, and no demo, is logged", where=str(report.folder))
    lines = record_lines(report.folder)
    head = {
        "at": at,
        "closed_at": report.last_at,
        "count": report.head.count,
        "device": report.device,
        "digest": report.head.digest,
        "kind": "visit",
        "opened_at": report.opened_at,
        "tree": merkle.root(lines).hex(),
        "use": report.use,
        "visit": report.identity,
    }
    signed = [
        {"at": at, "digest": digest_of(line), "kind": "endorsement", "visit": report.identity}
        for line in kept_lines(report.folder)
    ]
    return [head, *signed]


def record_lines(folder: Path) -> list[bytes]:
    """Return the lines of a closed record, without their line feeds."""
    path = VisitFolder(folder).ledger
    try:
        return contents(Disk(), path).split(b"\n")[:-1]
    except OSError as error:
        raise disk_problem(error, "reading the record", path) from error


@dataclass(frozen=True)
class SpentUse:
    """A number of a device that was spent on its credential for requests (SHA-256 `digest`), so on no visit."""

    device: str
    use: int
    digest: str


def append(
    folder: Path,
    reports: Sequence[VerificationReport],
    key: KeptKey,
    clock: Clock | None = None,
    *,
    spent: Sequence[SpentUse] = (),
) -> int:
    """Add the heads of records, and of what was signed to them, that the log does not hold yet; return how many.

    `spent` are numbers that no visit will bear, so that they are not told as gaps.
    The checkpoint is written after the leaves, so that a cut between them leaves a log that only grew. Lines that
    no checkpoint signs are not taken over: they are set aside in `not-signed.jsonl`, and added again when their
    visits are.
    """
    at = stamp((clock or SystemClock()).now().wall)
    new = [leaf for report in reports for leaf in leaves_of(report, at)]
    new += [{"at": at, "kind": "credential", **vars(each)} for each in spent]
    try:
        ensure_folder(Disk(), folder, 0o700)
        release = Disk().lock(folder / "log.lock", 30)
        try:
            lines = signed_lines(folder, key.public)
            known = {_same(leaf) for leaf in _leaves(lines, folder)}
            beyond = log_lines(folder)[len(lines) :]
            _set_aside(folder, beyond)
            added = [canonical(leaf) for leaf in new if _same(leaf) not in known]
            if added or beyond:
                put(Disk(), folder / "log.jsonl", b"".join(line + b"\n" for line in [*lines, *added]))
            checkpoint = Checkpoint(len(lines) + len(added), merkle.root([*lines, *added]))
            put(Disk(), folder / "checkpoint", checkpoint.signed(key).encode())
        finally:
            release()
    except OSError as error:
        raise disk_problem(error, "writing the log", folder) from error
    return len(added)


def checked_log(folder: Path, public: str, older: str | None = None) -> list[dict[str, Any]]:
    """Return the leaves that a log's checkpoint signs, held to an older one where it is given.

    Raises Problem when anything was changed in it or taken out of it.
    """
    return _leaves(signed_lines(folder, public, older), folder)


def _leaves(lines: Sequence[bytes], folder: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for number, line in enumerate(lines, start=1):
        try:
            leaf = json.loads(line)
            fits = leaf.keys() == _MEMBERS[leaf["kind"]]
        except (ValueError, TypeError, LookupError, AttributeError, RecursionError):
            fits = False
        if not fits:
            where = str(folder / "log.jsonl")
            raise Problem(f"line {number} is no line of a log", where=where, code=ExitCode.FAILED)
        found.append(leaf)
    return found


def count_not_signed(folder: Path, public: str) -> int:
    """Return how many lines follow those that the checkpoint signs: put there by somebody, or left by a cut."""
    return len(log_lines(folder)) - len(signed_lines(folder, public))


def _set_aside(folder: Path, lines: Sequence[bytes]) -> None:
    if lines:
        aside = folder / "not-signed.jsonl"
        before = contents(Disk(), aside) if aside.exists() else b""
        put(Disk(), aside, before + b"".join(line + b"\n" for line in lines))


def newest_checkpoint(folder: Path) -> str:
    """Return the newest checkpoint as a signed note; Problem when there is none."""
    try:
        return contents(Disk(), folder / "checkpoint").decode()
    except (FileNotFoundError, UnicodeDecodeError):
        raise Problem("there is no log here", where=str(folder), remedy="begin it: handsfree log add") from None


def signed_lines(folder: Path, public: str, older: str | None = None) -> list[bytes]:
    """Return the lines that the checkpoint of a log signs, held to an older one where it is given."""
    lines = log_lines(folder)
    if lines or (folder / "checkpoint").exists():
        checkpoint = Checkpoint.of(newest_checkpoint(folder), public)
        _must_fit(lines, checkpoint, "its checkpoint", folder)
        lines = lines[: checkpoint.size]
    if older is not None:
        _must_fit(lines, Checkpoint.of(older, public), "the older checkpoint", folder)
    return lines


def _must_fit(lines: Sequence[bytes], checkpoint: Checkpoint, whose: str, folder: Path) -> None:
    if len(lines) < checkpoint.size:
        missing = checkpoint.size - len(lines)
        raise Problem(f"{missing} lines that {whose} counts are gone", where=str(folder), code=ExitCode.FAILED)
    if merkle.root(lines[: checkpoint.size]) != checkpoint.root:
        raise Problem(f"the log is not the one of {whose}", where=str(folder), code=ExitCode.FAILED)


def _same(leaf: dict[str, Any]) -> tuple[str, str, str]:
    """Return what makes a leaf the same as another, whenever either was added."""
    return str(leaf["kind"]), str(leaf.get("visit", "")), str(leaf["digest"])
