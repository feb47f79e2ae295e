"""Naming what happened to a record from where its chain stops and what stands after."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from handsfree.ledger.chain import Broken, FaultClass, Link, Rest
from handsfree.ledger.tail import left_by_crash

LONGEST_TAIL = 1 << 26
"""Bytes that are looked at of what stands after the last sound batch: enough to tell what was done to a record."""


@dataclass(frozen=True)
class RecordFinding:
    """One thing that is wrong: the first entry it touches, its class, and a clause that says what."""

    seq: int
    fault: FaultClass
    why: str


def diagnose(rest: Rest, tail: bytes) -> RecordFinding | None:
    """Return what is wrong where a record stops, or None when only a crash or the end is there.

    `tail` is the file from `rest.offset` on.
    """
    if not tail or left_by_crash(tail, rest.offset, rest.link):
        return None
    lines = [line.removesuffix(b"\n") for line in BytesIO(tail[rest.stopped_at - rest.offset :])]
    broken = rest.broken or Broken(FaultClass.CHANGED, "its line is cut or altered at the end")
    if rest.expected.closed:
        return RecordFinding(rest.expected.seq, FaultClass.ADDED, "something stands after the close")
    return _named(rest.expected, broken, lines)


def _named(expected: Link, broken: Broken, lines: Sequence[bytes]) -> RecordFinding:
    """Tell the classes apart by looking for the expected entry further down."""
    due, refused, later = expected.seq, lines[0], lines[1:]
    numbers = [_member(line, "seq") for line in later]
    own = _member(refused, "seq")
    if any(number == due and expected.allows(line) for number, line in zip(numbers, later, strict=True)):
        if isinstance(own, int) and own > due and own not in numbers:
            return RecordFinding(due, FaultClass.REORDERED, f"entry {own} stands where entry {due} belongs")
        return RecordFinding(due, FaultClass.ADDED, f"a line that does not belong stands before entry {due}")
    if own == due or not isinstance(own, int) or (numbers and numbers[0] == due + 1):
        rebuilt = later and _member(later[0], "prev") == hashlib.sha256(refused).hexdigest()
        if broken.fault == FaultClass.FORGED and not rebuilt:
            return RecordFinding(due, FaultClass.CHANGED, f"{broken.why}, or the seal itself was changed")
        fault = broken.fault if broken.fault in {FaultClass.FORGED, FaultClass.RE_DATED} else FaultClass.CHANGED
        return RecordFinding(due, fault, broken.why)
    if own > due:
        gone = f"entry {due} is" if own == due + 1 else f"entries {due} to {own - 1} are"
        return RecordFinding(due, FaultClass.REMOVED, f"{gone} missing")
    return RecordFinding(due, FaultClass.ADDED, f"entry {own} stands a second time, where entry {due} belongs")


def _member(line: bytes, name: str) -> Any:
    """Return a member of whatever stands on a line; None when it cannot be read."""
    try:
        members = json.loads(line.decode())
    except (ValueError, RecursionError):
        return None
    value = members.get(name) if isinstance(members, dict) else None
    return None if isinstance(value, bool) else value
