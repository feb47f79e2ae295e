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
import sqlite3
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from handsfree.ledger import Clock, SystemClock, VerificationReport, merkle
from handsfree.ledger.clock import stamp
from handsfree.ledger.entry import canonical, digest_of
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put, write_whole
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import VisitFolder
from handsfree.office.endorsements import kept_lines
from handsfree.office.kept_key import KeptKey
from handsfree.office.log_tree import LoggedLine, LogTree, looked_up, opened_tree
from handsfree.problem import ExitCode, Problem

ORIGIN = "handsfree/office-log"
"""The first line of a checkpoint and the name of its key."""
ED25519_NOTE = b"\x01"
"""The kind of signature, by the signed-note specification: Ed25519."""
LONGEST_ASIDE = 16 << 20
"""Bytes behind the lines that the checkpoint signs which are kept: a cut leaves one line, and who adds more is no
friend."""
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


def log_lines(folder: Path) -> Iterator[bytes]:
    """Yield the lines of a log, whoever added them; none where it has not begun. Problem when it cannot be read.

    Only one line is held at a time: a log may be larger than the machine's memory.
    """
    path = folder / "log.jsonl"
    try:
        with Disk().read(path) as stream:
            for line in stream:
                yield line.removesuffix(b"\n")
    except FileNotFoundError:
        return
    except OSError as error:
        raise disk_problem(error, "reading the log", path) from error


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
    Lines are only ever added at the end, and the checkpoint is written after them, so that a cut between them
    leaves a log that only grew. Lines that no checkpoint signs are not taken over: they are set aside in
    `not-signed.jsonl`, and added again when their visits are. What is already signed is not read again: whether it
    was changed in the file is for `checked_leaves` to say.
    """
    at = stamp((clock or SystemClock()).now().wall)
    new = [leaf for report in reports for leaf in leaves_of(report, at)]
    new += [{"at": at, "kind": "credential", **vars(each)} for each in spent]
    try:
        ensure_folder(Disk(), folder, 0o700)
        release = Disk().lock(folder / "log.lock", 30)
        try:
            with opened_tree(folder) as tree:
                _follow(tree, folder, _newest(folder, key.public))
                return _added(tree, folder, new, key)
        finally:
            release()
    except (OSError, sqlite3.Error) as error:
        fault = error if isinstance(error, OSError) else OSError(str(error))
        raise disk_problem(fault, "writing the log", folder) from error


def _added(tree: LogTree, folder: Path, new: Sequence[dict[str, Any]], key: KeptKey) -> int:
    """Add leaves behind those of the tree, which are the ones that the checkpoint signs; return how many."""
    size, end = tree.size
    fresh = {_same(leaf): leaf for leaf in new if not tree.holds(_same(leaf))}
    lines = [LoggedLine(canonical(leaf), what) for what, leaf in fresh.items()]
    path = folder / "log.jsonl"
    beyond = _beyond(path, end)
    _set_aside(folder, beyond)
    if not (lines or beyond or size == 0):
        return 0
    handle = Disk().open(path) if path.exists() else Disk().create(path, 0o644)
    try:
        Disk().truncate(handle, end)
        write_whole(Disk(), handle, b"".join(each.line + b"\n" for each in lines), end)
        Disk().fsync(handle)
    finally:
        Disk().close(handle)
    tree.add(lines)
    checkpoint = Checkpoint(size + len(lines), tree.root(size + len(lines)))
    put(Disk(), folder / "checkpoint", checkpoint.signed(key).encode())
    return len(lines)


def _follow(tree: LogTree, folder: Path, checkpoint: Checkpoint) -> None:
    """Bring the tree to the lines that the checkpoint signs; Problem when the log is not the one of it."""
    path = folder / "log.jsonl"
    there = path.stat().st_size if path.exists() else 0
    size, end = tree.size
    if size != checkpoint.size or end > there or tree.root(size) != checkpoint.root:
        tree.clear()
        tree.add(_logged(folder, checkpoint))
        if tree.size[0] < checkpoint.size or tree.root(checkpoint.size) != checkpoint.root:
            _must_fit(folder, checkpoint, "its checkpoint")


def _logged(folder: Path, checkpoint: Checkpoint) -> Iterator[LoggedLine]:
    for number, line in enumerate(islice(log_lines(folder), checkpoint.size), start=1):
        yield LoggedLine(line, _same(_leaf(line, number, folder)))


def _beyond(path: Path, end: int) -> bytes:
    """Return what stands in a log behind the lines that its checkpoint signs."""
    if not path.exists():
        return b""
    with Disk().read(path) as stream:
        stream.seek(end)
        return stream.read(LONGEST_ASIDE)


def checked_leaves(folder: Path, public: str, older: str | None = None) -> Iterator[dict[str, Any]]:
    """Yield the leaves that a log's checkpoint signs, held to an older one where it is given.

    All of it is held to the checkpoints before the first leaf is given. Raises Problem when anything was changed
    in it or taken out of it.
    """
    checkpoint = _newest(folder, public)
    _must_fit(folder, checkpoint, "its checkpoint")
    if older is not None:
        _must_fit(folder, Checkpoint.of(older, public), "the older checkpoint", checkpoint.size)
    for number, line in enumerate(islice(log_lines(folder), checkpoint.size), start=1):
        yield _leaf(line, number, folder)


def _leaf(line: bytes, number: int, folder: Path) -> dict[str, Any]:
    try:
        leaf: dict[str, Any] = json.loads(line)
        if leaf.keys() == _MEMBERS[leaf["kind"]]:
            return leaf
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError):
        pass
    where = str(folder / "log.jsonl")
    raise Problem(f"line {number} is no line of a log", where=where, code=ExitCode.FAILED)


def line_signed_at(folder: Path, public: str, note: str) -> str:
    """Return when the last line that a checkpoint counts came into the log; Problem when it is not of that log."""
    older = Checkpoint.of(note, public)
    newest = _newest(folder, public)
    if 0 < older.size <= newest.size and (found := looked_up(folder, older.size, newest.size)) is not None:
        of_older, of_newest, start = found
        if (of_older, of_newest) == (older.root, newest.root):
            with Disk().read(folder / "log.jsonl") as stream:
                stream.seek(start)
                return str(_leaf(stream.readline().removesuffix(b"\n"), older.size, folder)["at"])
    last = deque(islice(checked_leaves(folder, public, note), older.size), maxlen=1)
    return str(last[0]["at"]) if last else ""


def count_not_signed(folder: Path, public: str) -> int:
    """Return how many lines follow those that the checkpoint signs: put there by somebody, or left by a cut."""
    return sum(1 for _ in log_lines(folder)) - _newest(folder, public).size


def _set_aside(folder: Path, beyond: bytes) -> None:
    if beyond:
        aside = folder / "not-signed.jsonl"
        before = contents(Disk(), aside) if aside.exists() else b""
        put(Disk(), aside, before + beyond.removesuffix(b"\n") + b"\n")


def newest_checkpoint(folder: Path) -> str:
    """Return the newest checkpoint as a signed note; Problem when there is none."""
    try:
        return contents(Disk(), folder / "checkpoint").decode()
    except (FileNotFoundError, UnicodeDecodeError):
        raise Problem("there is no log here", where=str(folder), remedy="begin it: handsfree log add") from None


def _newest(folder: Path, public: str) -> Checkpoint:
    """Return the newest checkpoint, read before any line is; an empty one where no log has begun."""
    if not (folder / "checkpoint").exists() and not (folder / "log.jsonl").exists():
        return Checkpoint(0, merkle.folded(()))
    return Checkpoint.of(newest_checkpoint(folder), public)


def signed_lines(folder: Path, public: str) -> Iterator[bytes]:
    """Yield the lines that the checkpoint of a log signs."""
    checkpoint = _newest(folder, public)
    _must_fit(folder, checkpoint, "its checkpoint")
    yield from islice(log_lines(folder), checkpoint.size)


def _must_fit(folder: Path, checkpoint: Checkpoint, whose: str, most: int | None = None) -> None:
    """Raise Problem unless the first lines, of `most` where that is given, are those of a checkpoint."""
    tree = merkle.GrowingTree()
    for line in islice(log_lines(folder), checkpoint.size if most is None else min(checkpoint.size, most)):
        tree.add(line)
    if tree.size < checkpoint.size:
        missing = checkpoint.size - tree.size
        raise Problem(f"{missing} lines that {whose} counts are gone", where=str(folder), code=ExitCode.FAILED)
    if tree.root() != checkpoint.root:
        raise Problem(f"the log is not the one of {whose}", where=str(folder), code=ExitCode.FAILED)


def _same(leaf: dict[str, Any]) -> str:
    """Return what makes a leaf the same as another, whenever either was added."""
    return f"{leaf['kind']} {leaf.get('visit', '')} {leaf['digest']}"
