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
from handsfree.ledger.visit import Visit
from handsfree.problem import ExitCode, Problem


@dataclass(frozen=True)
class Recovered:
    """Where a record goes on: what it holds, what must follow, its size in bytes, and the secret to seal with.

    `set_aside` describes the files of earlier torn ends that no entry names yet.
    """

    entries: tuple[Entry, ...]
    link: Link
    size: int
    secret: Secret
    set_aside: tuple[dict[str, Any], ...]


def identity(files: Files, visit: Visit) -> str:
    """Return the digest of the first entry, which names the visit; Problem when there is none."""
    with files.read(visit.ledger) as stream:
        first = stream.readline()
    try:
        entry, _ = Link().follow(first.removesuffix(b"\n"))
    except Broken as broken:
        raise _damaged(visit, 0, broken.why) from broken
    return entry.digest


def recover(files: Files, visit: Visit, key: SealingKey) -> Recovered:
    """Return where to go on, with a torn end set aside and all that is kept durable.

    A second crash at any point of this leaves the record as recoverable as before. Raises Problem when the
    record is closed, or when it lacks or contradicts what this device has acknowledged.
    """
    kept = key.settle()
    entries: list[Entry] = []
    with files.read(visit.ledger) as stream:
        for found in batches_of(stream):
            if isinstance(found, Rest):
                rest = found
            else:
                entries += found
        stream.seek(rest.offset)
        tail = stream.read()
    _refuse_contradiction(visit, kept, entries, rest)
    if kept.secret is None:
        raise _closed(visit)
    if tail:
        _set_aside(files, visit, rest, tail)
    unacknowledged = b"".join(entry.line + b"\n" for entry in entries[kept.head.count :])
    _settle_on_disk(files, visit, rest.offset, unacknowledged)
    if rest.link.closed:
        key.write(Kept(Head(rest.link.seq, rest.link.prev), None))
        raise _closed(visit)
    secret = kept.secret
    for _ in range(rest.link.seq - kept.head.count):
        secret = secret.following()
    if secret.public().hex() != rest.link.key:
        raise _damaged(visit, rest.link.seq, "the key kept on this device is not the one that must seal it")
    return Recovered(tuple(entries), rest.link, rest.offset, secret, _unnamed(files, visit, entries))


def _refuse_contradiction(visit: Visit, kept: Kept, entries: list[Entry], rest: Rest) -> None:
    """Raise Problem unless the record holds, unchanged, all that this device acknowledged."""
    if len(entries) < kept.head.count:
        why = (
            rest.broken.why
            if rest.broken
            else f"{kept.head.count} entries were recorded here, {len(entries)} are left"
        )
        raise _damaged(visit, rest.expected.seq, why)
    if entries[kept.head.count - 1].digest != kept.head.digest:
        raise _damaged(visit, kept.head.count - 1, "it is not what this device recorded")


def _set_aside(files: Files, visit: Visit, rest: Rest, tail: bytes) -> None:
    ensure_folder(files, visit.set_aside, 0o755)
    name = f"after-{rest.link.seq}-{hashlib.sha256(tail).hexdigest()[:16]}.torn"
    put(files, visit.set_aside / name, tail)


def _settle_on_disk(files: Files, visit: Visit, size: int, unacknowledged: bytes) -> None:
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


def _unnamed(files: Files, visit: Visit, entries: list[Entry]) -> tuple[dict[str, Any], ...]:
    try:
        names = files.names(visit.set_aside)
    except FileNotFoundError:
        return ()
    named = {aside["file"] for entry in entries if entry.kind == RESUMED for aside in entry.event["set_aside"]}
    found = []
    for name in names:
        if name not in named and not name.endswith(PART):
            data = contents(files, visit.set_aside / name)
            found.append({"file": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()})
    return tuple(found)


def _closed(visit: Visit) -> Problem:
    return Problem("this record is closed", where=str(visit.folder), remedy="begin a new visit")


def _damaged(visit: Visit, seq: int, why: str) -> Problem:
    return Problem(
        f"the record is damaged at entry {seq}: {why}",
        where=str(visit.folder),
        remedy="verify it; the visit cannot go on in this folder",
        code=ExitCode.FAILED,
    )
