"""What time it is: the wall clock that people read, and the steady one that intervals are taken from."""

from __future__ import annotations

import re
import time
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

JUMP = 2000
"""Milliseconds by which the two clocks may drift apart before a jump is recorded."""

_RFC_3339 = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


@dataclass(frozen=True)
class Moment:
    """One look at the clocks.

    `wall` is milliseconds since 1970-01-01T00:00:00Z and may be wrong or jump; `mono` is milliseconds of
    a clock that only runs forward within one `boot`; `utc_offset` is the local zone's minutes east of UTC.
    """

    wall: int
    mono: int
    boot: str
    utc_offset: int = 0


class Clock(Protocol):
    """Anything that can say what time it is."""

    def now(self) -> Moment:
        """Return the present moment."""


class SystemClock:
    """The clocks of the machine; the steady one also counts the time the machine sleeps, where it can."""

    def __init__(self) -> None:
        self._boot = boot_identity()

    def now(self) -> Moment:
        """Return the present moment."""
        steady = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
        wall = time.time_ns() // 1_000_000
        return Moment(wall, time.clock_gettime_ns(steady) // 1_000_000, self._boot, _minutes_east(wall))


def boot_identity(source: Path = Path("/proc/sys/kernel/random/boot_id")) -> str:
    """Return what the kernel calls this boot, or a name of this process where no kernel says it.

    With the fallback every start of the program counts as a boot: steady times are then never compared
    across it, which loses a check and raises no false alarm.
    """
    try:
        return source.read_text().strip()
    except OSError:
        return f"process-{uuid.uuid4()}"


def stamp(wall: int) -> str:
    """Return milliseconds since 1970 as RFC 3339 in UTC, always to the millisecond, so text sorts as time.

    Raises OverflowError outside the years 1 to 9999.
    """
    return (_EPOCH + wall * _MILLISECOND).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3].rjust(23, "0") + "Z"


def milliseconds(text: str) -> int:
    """Return the milliseconds since 1970 of such a text; any other form raises ValueError."""
    if not _RFC_3339.fullmatch(text):
        raise ValueError(f"{text!r} is not a time in the form 2026-01-31T12:00:00.000Z")
    return (datetime.fromisoformat(text) - _EPOCH) // _MILLISECOND


def _minutes_east(wall: int) -> int:
    return time.localtime(wall // 1000).tm_gmtoff // 60
