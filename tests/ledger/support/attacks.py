"""What can be done to a record by hand, with and without the keys of the device, and what must be said of it."""

from __future__ import annotations

import json
import random
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import accumulate
from typing import Any

from faulty_disk import FaultyDisk
from visits import STATE, VISIT

from handsfree.ledger import FaultClass, RecordVerdict, verify
from handsfree.ledger.chain import Link
from handsfree.ledger.clock import milliseconds, stamp
from handsfree.ledger.entry import Entry, canonical, digest_of
from handsfree.ledger.ratchet import Secret

LEDGER = VISIT / "ledger.jsonl"
Lines = list[bytes]


@dataclass(frozen=True)
class Attack:
    """One altered record: what was done, the first entry that is bad, and the classes that may be named."""

    name: str
    lines: Lines
    first_bad: int
    faults: frozenset[FaultClass]

    def bytes(self) -> bytes:
        return b"".join(line + b"\n" for line in self.lines)


def lines_of(disk: FaultyDisk) -> Lines:
    return disk.bytes_of(LEDGER).split(b"\n")[:-1]


@contextmanager
def remembered_links() -> Iterator[None]:
    """Remember what follows what, so that the unchanged beginning of a record is checked once, not each time.

    `Link.follow` depends on nothing but its two arguments, so its results can be kept.
    """
    plain, kept = Link.follow, {}

    def follow(link: Link, line: bytes) -> tuple[Entry, Link]:
        key = (link.prev, link.seq, line)
        if key not in kept:
            kept[key] = plain(link, line)
        return kept[key]

    Link.follow = follow  # type: ignore[method-assign]
    try:
        yield
    finally:
        Link.follow = plain  # type: ignore[method-assign]


def changed(line: bytes, change: Callable[[dict[str, Any]], None]) -> bytes:
    """A line with some members changed, in canonical form again, under its old seal."""
    members = json.loads(line)
    change(members)
    return canonical(members)


def resealed(lines: Lines, start: int, secret: Secret) -> Lines:
    """The lines from `start` on, chained and sealed again with the keys that follow from a secret."""
    prev = digest_of(lines[start - 1])
    result = lines[:start]
    for line in lines[start:]:
        members = json.loads(line)
        del members["seal"]
        members |= {"prev": prev, "next_key": secret.following().public().hex()}
        members["seal"] = secret.signer().sign(canonical(members)).hex()
        result.append(canonical(members))
        prev, secret = digest_of(result[-1]), secret.following()
    return result


def rechained(lines: Lines, start: int) -> Lines:
    """The lines from `start` on with the digests of their predecessors put right, under their old seals."""
    result = lines[:start]
    for line in lines[start:]:
        result.append(changed(line, lambda members: members.update(prev=digest_of(result[-1]))))
    return result


def stolen_secret(disk: FaultyDisk) -> Secret:
    """The sealing secret that a thief of the device finds."""
    for path, data in disk.files().items():
        if path.suffix == ".key" and path.parent != STATE:
            return Secret(bytes.fromhex(json.loads(data[65 : data.index(b"\n")])["secret"]))
    raise AssertionError("no key file")


def attack(rng: random.Random, lines: Lines) -> Attack:
    """Return a seeded attack without keys on the lines of a closed record."""
    return rng.choice(_WITHOUT_KEYS)(rng, lines)


def thefts(rng: random.Random, lines: Lines, secret: Secret) -> Attack:
    """Return a seeded attack on an open record by someone who holds the device's current sealing secret."""
    at = rng.randrange(1, len(lines))
    name = rng.choice(["rewrites", "cuts and goes on", "re-dates"])
    forged = frozenset({FaultClass.FORGED, FaultClass.CHANGED, FaultClass.RE_DATED})
    if name == "cuts and goes on":
        return Attack(
            name,
            resealed([*lines[:at], lines[-1]], at, secret),
            at,
            forged | {FaultClass.REMOVED, FaultClass.REORDERED},
        )
    change = _other_event if name == "rewrites" else _other_date(rng)
    altered = [*lines[:at], changed(lines[at], change), *lines[at + 1 :]]
    return Attack(name, resealed(altered, at, secret), at, forged)


def _other_event(members: dict[str, Any]) -> None:
    members["event"] = {**members["event"], "value": "8.80"}


def _other_date(rng: random.Random) -> Callable[[dict[str, Any]], None]:
    by = rng.choice([-1, 1]) * rng.randrange(3_000, 10**9)

    def change(members: dict[str, Any]) -> None:
        members["at"] = stamp(milliseconds(members["at"]) + by)

    return change


def _member_changed(rng: random.Random, lines: Lines) -> Attack:
    at = rng.randrange(len(lines))
    name = rng.choice(["event", "kind", "mono", "boot", "next_key", "prev", "seal", "to_come"])

    def change(members: dict[str, Any]) -> None:
        value = members[name]
        if isinstance(value, dict):
            _other_event(members)
        elif isinstance(value, int):
            members[name] = value + rng.randrange(1, 9)
        elif name in {"next_key", "prev", "seal"}:
            place = rng.randrange(len(value))
            digit = format((int(value[place], 16) + rng.randrange(1, 16)) % 16, "x")
            members[name] = value[:place] + digit + value[place + 1 :]
        else:
            members[name] = value + "x"

    altered = [*lines[:at], changed(lines[at], change), *lines[at + 1 :]]
    if rng.random() < 0.5:
        altered = rechained(altered, at + 1) if name != "prev" else altered
    may = {FaultClass.CHANGED, FaultClass.FORGED, FaultClass.RE_DATED}
    return Attack(f"changes {name} of", altered, at, frozenset(may))


def _re_dated(rng: random.Random, lines: Lines) -> Attack:
    at = rng.randrange(1, len(lines))
    altered = [*lines[:at], changed(lines[at], _other_date(rng)), *lines[at + 1 :]]
    return Attack("re-dates", altered, at, frozenset({FaultClass.RE_DATED}))


def _removed(rng: random.Random, lines: Lines) -> Attack:
    at = rng.randrange(len(lines) - 1)
    end = rng.randrange(at + 1, len(lines))
    return Attack("removes", lines[:at] + lines[end:], at, frozenset({FaultClass.REMOVED}))


def _duplicated(rng: random.Random, lines: Lines) -> Attack:
    which, at = rng.randrange(len(lines)), rng.randrange(len(lines) + 1)
    first_bad = at if at != which else which + 1
    altered = [*lines[:at], lines[which], *lines[at:]]
    return Attack("duplicates", altered, first_bad, frozenset({FaultClass.ADDED}))


def _swapped(rng: random.Random, lines: Lines) -> Attack:
    one, other = sorted(rng.sample(range(len(lines)), 2))
    altered = list(lines)
    altered[one], altered[other] = altered[other], altered[one]
    return Attack("swaps", altered, one, frozenset({FaultClass.REORDERED}))


def _moved(rng: random.Random, lines: Lines) -> Attack:
    one, other = rng.sample(range(len(lines)), 2)
    altered = list(lines)
    altered.insert(other, altered.pop(one))
    return Attack("moves", altered, min(one, other), frozenset({FaultClass.REORDERED}))


def _inserted(rng: random.Random, lines: Lines) -> Attack:
    at = rng.randrange(1, len(lines))
    made_up = rng.choice(
        [
            changed(lines[at], _other_event),
            b"{}",
            b"not a line of any record",
            canonical({"at": "2026-01-01T00:00:00.000Z", "seq": at}),
        ]
    )
    return Attack("inserts", [*lines[:at], made_up, *lines[at:]], at, frozenset({FaultClass.ADDED}))


def _foreign_seal(rng: random.Random, lines: Lines) -> Attack:
    at = rng.randrange(1, len(lines) - 1)
    altered = [*lines[:at], changed(lines[at], _other_event), *lines[at + 1 :]]
    secret = Secret(rng.randbytes(32))
    return Attack("seals with keys of its own", resealed(altered, at, secret), at, frozenset({FaultClass.FORGED}))


def _spaced(rng: random.Random, lines: Lines) -> Attack:
    at = rng.randrange(len(lines))
    line = json.dumps(json.loads(lines[at]), sort_keys=True).encode()
    return Attack("reformats", [*lines[:at], line, *lines[at + 1 :]], at, frozenset({FaultClass.CHANGED}))


def _cut_off(rng: random.Random, lines: Lines) -> Attack:
    at = whole = rng.randrange(len(lines))
    while whole and json.loads(lines[whole - 1])["to_come"]:
        whole -= 1
    return Attack("cuts off the end", lines[:at], whole, frozenset({FaultClass.NOT_CLOSED}))


_WITHOUT_KEYS: list[Callable[[random.Random, Lines], Attack]] = [
    _member_changed,
    _re_dated,
    _removed,
    _duplicated,
    _swapped,
    _moved,
    _inserted,
    _foreign_seal,
    _spaced,
    _cut_off,
]


def undetected(attacked: Attack, disk: FaultyDisk) -> str | None:
    """Put an attacked record on the disk and verify it; return what is wrong with the verdict, or None."""
    disk.put(LEDGER, attacked.bytes())
    report = verify(VISIT, files=disk)
    said = f"{attacked.name} entry {attacked.first_bad}: {report.sentence}"
    if report.ok:
        return f"undetected: {said}"
    if report.fault not in attacked.faults or report.first_bad != attacked.first_bad:
        return f"named wrongly: {said}"
    return None


def flipped_bits(data: bytes, disk: FaultyDisk, bits: Iterable[int]) -> list[str]:
    """Flip each of these bits of a closed record in turn; return what was not called broken at the right entry."""
    ends = list(accumulate(len(line) for line in data.splitlines(keepends=True)))
    wrong = []
    for bit in bits:
        flipped = bytearray(data)
        flipped[bit // 8] ^= 1 << bit % 8
        disk.put(LEDGER, bytes(flipped))
        report = verify(VISIT, files=disk)
        if report.verdict != RecordVerdict.BROKEN or report.first_bad != bisect_right(ends, bit // 8):
            wrong.append(f"bit {bit}: {report.sentence}")
    return wrong


def truncated(data: bytes, disk: FaultyDisk, sizes: Iterable[int]) -> list[str]:
    """Cut a record to each of these sizes; return where it was not the longest beginning with a torn end."""
    ends, whole = [0], [0]
    for number, line in enumerate(data.splitlines(keepends=True), start=1):
        if json.loads(line)["to_come"] == 0:
            ends.append(ends[-1] + sum(map(len, data.splitlines(keepends=True)[whole[-1] : number])))
            whole.append(number)
    wrong = []
    for size in sizes:
        disk.put(LEDGER, data[:size])
        report = verify(VISIT, files=disk)
        last = bisect_right(ends, size) - 1
        count = report.head.count if report.head else 0
        torn = size - ends[last]
        told = not torn or not count or f"then {torn} bytes of an unfinished write" in report.sentence
        closed = size == len(data)
        if (
            count != whole[last]
            or not told
            or report.verdict != (RecordVerdict.CLOSED if closed else RecordVerdict.OPEN)
        ):
            wrong.append(f"size {size}: {report.sentence}")
    return wrong
