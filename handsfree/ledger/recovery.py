"""Finding the place to go on from after a crash: nothing acknowledged is lost, nothing torn is thrown away."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from handsfree.ledger.chain import Broken, Link, Rest, batches_of
from handsfree.ledger.entry import Entry
from handsfree.ledger.files import PART, Files, contents, ensure_folder, put, write_whole
from handsfree.ledger.head import Head
from handsfree.ledger.kinds import RESUMED
from handsfree.ledger.ratchet import Secret
from handsfree.ledger.sealing import Kept, SealingKey
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import ExitCode, Problem


@dataclass(frozen=True)
class Recovered:
    """Where a record goes on: what must follow, its size in bytes, and the secret to seal with.

    `set_aside` describes the files of earlier torn ends that no entry names yet.
    """

    link: Link
    size: int
    secret: Secret
    set_aside: tuple[dict[str, Any], ...]


@dataclass
class _Survey:
    """What one pass over a record finds, beside `acknowledged` entries that the device knows of.

    `head` is the digest of the last of those, `beyond` the bytes of whole batches after them, `named` the
    files of torn ends that entries name, `rest` and `tail` what follows the last whole batch.
    """

    rest: Rest
    tail: bytes
    head: str
    beyond: bytes
    named: frozenset[str]


def opening_of(files: Files, visit: VisitFolder) -> Entry:
    """Return the first entry, whose digest names the visit; Problem when there is none."""
    with files.read(visit.ledger) as stream:
        first = stream.readline()
    try:
        entry, _ = Link().follow(first.removesuffix(b"\n"))
    except Broken as broken:
        raise _damaged(visit, 0, broken.why) from broken
    return entry


def recover(files: Files, visit: VisitFolder, key: SealingKey) -> Recovered:
    """Return where to go on, with a torn end set aside and all that is kept durable.

    A second crash at any point of this leaves the record as recoverable as before. Raises Problem when the
    record is closed, or when it lacks or contradicts what this device has acknowledged; nothing is touched then.
    """
    kept = key.settle()
    survey = _surveyed(files, visit, kept.head.count)
    _refuse_contradiction(visit, kept.head, survey)
    rest, secret = survey.rest, kept.secret
    if secret is None:
        raise _closed(visit)
    for _ in range(rest.link.seq - kept.head.count):
        secret = secret.following()
    if secret.public().hex() != rest.link.key:
        raise _damaged(visit, rest.link.seq, "the key kept on this device is not the one that must seal it")
    if survey.tail:
        _set_aside(files, visit, rest, survey.tail)
    _settle_on_disk(files, visit, rest.offset, survey.beyond)
    if rest.link.closed:
        key.write(Kept(Head(rest.link.seq, rest.link.prev), None))
        raise _closed(visit)
    return Recovered(rest.link, rest.offset, secret, _unnamed(files, visit, survey.named))


def _surveyed(files: Files, visit: VisitFolder, acknowledged: int) -> _Survey:
    head, beyond, named = "", bytearray(), set[str]()
    with files.read(visit.ledger) as stream:
        for found in batches_of(stream):
            if isinstance(found, Rest):
                rest = found
                continue
            for entry in found:
                if entry.seq == acknowledged - 1:
                    head = entry.digest
                if entry.seq >= acknowledged:
                    beyond += entry.line + b"\n"
                if entry.kind == RESUMED:
                    named |= {aside["file"] for aside in entry.event["set_aside"]}
        stream.seek(rest.offset)
        return _Survey(rest, stream.read(), head, bytes(beyond), frozenset(named))


def _refuse_contradiction(visit: VisitFolder, head: Head, survey: _Survey) -> None:
    """Raise Problem unless the record holds, unchanged, all that this device acknowledged."""
    rest = survey.rest
    if rest.link.seq < head.count:
        fewer = f"{head.count} entries were recorded here, {rest.link.seq} are left"
        raise _damaged(visit, rest.expected.seq, rest.broken.why if rest.broken else fewer)
    if survey.head != head.digest:
        raise _damaged(visit, head.count - 1, "it is not what this device recorded")


def _set_aside(files: Files, visit: VisitFolder, rest: Rest, tail: bytes) -> None:
    ensure_folder(files, visit.set_aside, 0o755)
    name = f"after-{rest.link.seq}-{hashlib.sha256(tail).hexdigest()[:16]}.torn"
    put(files, visit.set_aside / name, tail)


def _settle_on_disk(files: Files, visit: VisitFolder, size: int, unacknowledged: bytes) -> None:
    """Cut off the torn end and write again what no fsync is known to have reached.

    After a failed fsync the system may show bytes that it never wrote; writing them again makes it try.
    """
    handle = files.open(visit.ledger)
    try:
        files.truncate(handle, size)
        write_whole(files, handle, unacknowledged, size - len(unacknowledged))
        files.fsync(handle)
    finally:
        files.close(handle)


def _unnamed(files: Files, visit: VisitFolder, named: frozenset[str]) -> tuple[dict[str, Any], ...]:
    try:
        names = files.names(visit.set_aside)
    except FileNotFoundError:
        return ()
    found = []
    for name in names:
        if name not in named and not name.endswith(PART):
            data = contents(files, visit.set_aside / name)
            found.append({"file": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()})
    return tuple(found)


def _closed(visit: VisitFolder) -> Problem:
    return Problem("this record is closed", where=str(visit.folder), remedy="begin a new visit")


def _damaged(visit: VisitFolder, seq: int, why: str) -> Problem:
    return Problem(
        f"the record is damaged at entry {seq}: {why}",
        where=str(visit.folder),
        remedy="verify it; the visit cannot go on in this folder",
        code=ExitCode.FAILED,
    )
