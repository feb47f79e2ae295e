"""What a process and its children take of the machine: memory, and time on the processor; read from /proc."""

from __future__ import annotations

import os
import threading
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

TICKS = os.sysconf("SC_CLK_TCK")
LIBRARIES = {"libvosk": "hearing", "portaudio": "loudspeaker", "espeak": "voice"}
"""The native library that tells what a child does, the most telling first."""
EVERY_S = 0.2


def family(process: int) -> list[int]:
    """Return the process and all its descendants; those that have ended are left out."""
    found = [process]
    for listing in Path(f"/proc/{process}/task").glob("*/children"):
        for child in _read(listing).split():
            found += family(int(child))
    return found


def role(process: int, first: int) -> str | None:
    """Return what a process of the family of `first` does; None while it has not loaded what tells."""
    if process == first:
        return "visit"
    loaded = _read(Path(f"/proc/{process}/maps"))
    return next((name for library, name in LIBRARIES.items() if library in loaded), None)


def resident_mb(process: int, member: str = "VmRSS") -> float:
    """Return the memory of a process now, or its peak with "VmHWM", in MB (10^6 bytes); 0 when it has ended."""
    for line in _read(Path(f"/proc/{process}/status")).splitlines():
        if line.startswith(f"{member}:"):
            return int(line.split()[1]) * 1024 / 1e6
    return 0.0


def processor_s(process: int) -> float | None:
    """Return the processor time that a process has taken, in seconds; None when it has ended."""
    told = _read(Path(f"/proc/{process}/stat"))
    if not told:
        return None
    fields = told.rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def growth_per_hour(seconds: Sequence[float], megabytes: Sequence[float]) -> float:
    """Return the slope of a straight line through memory over time (least squares), in MB an hour."""
    return float(np.polyfit(np.asarray(seconds) / 3600, megabytes, 1)[0])


@dataclass(frozen=True)
class Sample:
    """One look at one process: seconds since the watch began, MB, share of a core since the look before."""

    at_s: float
    role: str
    process: int
    resident_mb: float
    peak_mb: float
    processor_s: float
    lasted_s: float
    condition: str


class Watch(threading.Thread):
    """Looks at a family of processes five times a second; `condition` says what is going on meanwhile."""

    def __init__(self, process: int) -> None:
        super().__init__(daemon=True)
        self.condition = "start"
        self.samples: list[Sample] = []
        self._process = process
        self._over = threading.Event()
        self._roles: dict[int, str] = {}
        self.start()

    def run(self) -> None:
        begun = time.monotonic()
        before: dict[int, tuple[float, float]] = {}
        while not self._over.wait(EVERY_S):
            now, condition = time.monotonic(), self.condition
            for one in family(self._process):
                busy, doing = processor_s(one), self._role(one)
                memory = resident_mb(one), resident_mb(one, "VmHWM")
                if busy is None or doing is None or 0.0 in memory:
                    continue
                then, was = before.get(one, (now, busy))
                before[one] = now, busy
                self.samples.append(Sample(now - begun, doing, one, *memory, busy - was, now - then, condition))

    def close(self) -> None:
        """Look no more."""
        self._over.set()
        self.join()

    def by_role(self) -> dict[str, list[Sample]]:
        """Return the samples of each role, in order."""
        found = defaultdict(list)
        for sample in self.samples:
            found[sample.role].append(sample)
        return dict(found)

    def _role(self, process: int) -> str | None:
        if process not in self._roles:
            doing = role(process, self._process)
            if doing is None:
                return None
            self._roles[process] = doing
        return self._roles[process]


def _read(file: Path) -> str:
    try:
        return file.read_text()
    except OSError:
        return ""
