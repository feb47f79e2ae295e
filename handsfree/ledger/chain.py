"""What must come next: each line is accepted only if the one before it allows it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import BinaryIO

from handsfree.ledger.clock import JUMP
from handsfree.ledger.entry import FORMAT, NOTHING_BEFORE, Entry, Malformed, NewerFormat, canonical, entry_of
from handsfree.ledger.kinds import CLOCK_JUMPED, CLOSED, OPENED, RESUMED, is_well_formed
from handsfree.ledger.ratchet import holds


class FaultClass(StrEnum):
    """The classes of what can be wrong with a record."""

    CHANGED = "changed"
    REMOVED = "removed"
    ADDED = "added"
    REORDERED = "reordered"
    TRUNCATED = "truncated"
    RE_DATED = "re-dated"
    FUTURE = "dated in the future"
    BEFORE_CHECKPOINT = "dated before its checkpoint"
    FORGED = "seal forged"
    FOREIGN_DEVICE = "another device"
    REVOKED_DEVICE = "revoked device"
    NOT_CLOSED = "close missing"
    SOUND_ALTERED = "sound altered"
    SOUND_MISSING = "sound missing"
    SOURCE_ALTERED = "source altered"
    SOURCE_MISSING = "source missing"
    REDACTION_FORGED = "redaction forged"
    ENDORSEMENT = "signed line does not hold"
    PERSONAL_ALTERED = "personal data altered"
    PERSONAL_MISSING = "personal data missing"
    NO_PHOTO = "no photo"
    SALT_REPLAYED = "salt used twice"
    ERASED_IS_THERE = "erased data is there"
    DECISION_ALTERED = "decision altered"


class Broken(Exception):  # noqa: N818 - it carries a finding, not a mishap of the program
    """A line that may not follow: the class of the fault and a clause that says why."""

    def __init__(self, fault: FaultClass, why: str) -> None:
        super().__init__(why)
        self.fault, self.why = fault, why


@dataclass(frozen=True)
class Link:
    """What the next line must fit: the position after some entry.

    `prev` is the digest of that entry, `key` the public key (hex) that seals the next, `to_come` how many
    entries its batch still misses. `drift` is wall minus steady clock at the last recorded setting of the
    clocks, in ms.
    """

    seq: int = 0
    prev: str = NOTHING_BEFORE
    key: str = ""
    to_come: int = 0
    closed: bool = False
    boot: str = ""
    mono: int = 0
    drift: int = 0

    def follow(self, line: bytes) -> tuple[Entry, Link]:
        """Return the entry on the line and the position after it; Broken when the line may not stand here.

        A first line of a newer format raises NewerFormat.
        """
        try:
            entry = entry_of(line)
        except Malformed as error:
            raise Broken(FaultClass.CHANGED, str(error)) from error
        except NewerFormat as newer:
            if self._is_ours(newer):
                raise Broken(FaultClass.CHANGED, "its format number was changed") from newer
            raise
        self._place(entry)
        self._seal(entry)
        self._time(entry)
        fresh = entry.boot != self.boot or entry.kind in {OPENED, RESUMED, CLOCK_JUMPED}
        return entry, Link(
            seq=entry.seq + 1,
            prev=entry.digest,
            key=entry.next_key,
            to_come=entry.to_come,
            closed=entry.kind == CLOSED,
            boot=entry.boot,
            mono=entry.mono,
            drift=entry.wall - entry.mono if fresh else self.drift,
        )

    def allows(self, line: bytes) -> bool:
        """Say whether the line may stand here."""
        try:
            self.follow(line)
        except Broken:
            return False
        return True

    def _is_ours(self, newer: NewerFormat) -> bool:
        """Say whether the line is one of this format with only the number of the format altered."""
        try:
            self.follow(canonical({**newer.members, "format": FORMAT}))
        except (Broken, ValueError, TypeError):
            return False
        return True

    def _place(self, entry: Entry) -> None:
        if entry.seq != self.seq:
            raise Broken(FaultClass.REORDERED, f"entry {entry.seq} stands where entry {self.seq} belongs")
        if entry.prev != self.prev:
            raise Broken(FaultClass.CHANGED, "it does not carry the digest of the entry before it")
        if self.closed:
            raise Broken(FaultClass.ADDED, "it stands after the close")
        if (entry.kind == OPENED) != (entry.seq == 0):
            raise Broken(FaultClass.CHANGED, f"a record begins with {OPENED}, and only begins with it")
        if not is_well_formed(entry.kind, entry.event):
            raise Broken(FaultClass.CHANGED, f"its event is not that of {entry.kind}")
        if self.to_come and entry.to_come != self.to_come - 1:
            raise Broken(FaultClass.CHANGED, "it does not continue the batch before it")
        if entry.kind == CLOSED and entry.to_come:
            raise Broken(FaultClass.CHANGED, "its batch goes on after the close")

    def _seal(self, entry: Entry) -> None:
        if entry.device is not None and not entry.device.leads_to_key():
            raise Broken(FaultClass.FORGED, "its sealing key is none of the device's keys")
        key = self.key if entry.device is None else entry.device.signer
        if not holds(bytes.fromhex(key), bytes.fromhex(entry.seal), entry.unsealed):
            if self._off(entry):
                raise Broken(
                    FaultClass.RE_DATED, "its seal does not fit and its date disagrees with the steady clock"
                )
            raise Broken(FaultClass.FORGED, "its seal does not fit what it says")

    def _time(self, entry: Entry) -> None:
        if self._off(entry):
            raise Broken(FaultClass.RE_DATED, "its date disagrees with the steady clock and no jump is recorded")

    def _off(self, entry: Entry) -> bool:
        """Say whether the clocks of an entry cannot be true together, within one boot."""
        if entry.boot != self.boot or entry.kind in {RESUMED, CLOCK_JUMPED}:
            return False
        return entry.mono < self.mono or abs(entry.wall - entry.mono - self.drift) > JUMP


@dataclass(frozen=True)
class Rest:
    """Where reading a record ended.

    `offset` and `link` are the file position and the Link after the last whole batch, `stopped_at` and
    `expected` the same after the last acceptable line, which may be inside a batch. `broken` says why the
    next line was refused; None when the file ends there or in a line without its line feed.
    """

    offset: int
    link: Link
    stopped_at: int
    expected: Link
    broken: Broken | None = None


LONGEST_LINE = 1 << 22
"""Bytes; the longest entry of a visit has some ten thousand, and a longer line is a mistake or an attack."""


def lines_of(stream: BinaryIO) -> Iterator[bytes]:
    """Yield the lines of a record with their line feeds; one beyond LONGEST_LINE comes cut, without."""
    while line := stream.readline(LONGEST_LINE):
        yield line


def batches_of(lines: Iterable[bytes]) -> Iterator[tuple[Entry, ...] | Rest]:
    """Yield each whole batch of a record in order, then, last, the Rest; lines carry their line feeds."""
    link = whole = Link()
    offset = stopped_at = 0
    broken = None
    batch: list[Entry] = []
    for line in lines:
        if not line.endswith(b"\n"):
            break
        try:
            entry, link = link.follow(line[:-1])
        except Broken as error:
            broken = error
            break
        stopped_at += len(line)
        batch.append(entry)
        if not entry.to_come:
            yield tuple(batch)
            batch.clear()
            offset, whole = stopped_at, link
    yield Rest(offset, whole, stopped_at, link, broken)
