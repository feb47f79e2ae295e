"""How late this machine runs what is due, measured beside a test that lives in real time.

A process of its own keeps time, one thread on each processor: what the tested program does to itself (long work in
one thread) is not counted as the machine's fault. Run as a script it is that process, and prints once in a while
how late its worst tick came and how many tasks wanted the processors.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass

TICK_S, TOLD_EACH_S = 0.02, 0.1
LATE_S = 0.05
"""A tick that comes later than this is the machine's fault: half of the tightest tolerance in a real-time test."""
CROWDED = 2.0
"""Tasks that want each processor, on the mean: with two, whatever must be computed takes twice its time."""
REASON = "the machine was too slow"


@dataclass(frozen=True)
class Told:
    """One line of the timekeeper: when (steady clock, s), the worst lateness since the line before (s), tasks."""

    at: float
    late_s: float
    tasks: float


@dataclass(frozen=True)
class Lag:
    """What was measured over some time."""

    late_s: float
    crowd: float
    """Tasks that wanted each processor, on the mean."""

    @property
    def too_slow(self) -> bool:
        """Whether a failure in that time says nothing about the program."""
        return self.late_s > LATE_S or self.crowd > CROWDED

    def __str__(self) -> str:
        late = f"what was due came up to {1000 * self.late_s:.0f} ms late"
        return f"{late}, and {self.crowd:.1f} tasks wanted each processor"


class Timekeeper:
    """The process that keeps time, from its start to the end of the tests, and what it has told."""

    def __init__(self) -> None:
        self._told: list[Told] = []
        self._process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Start it, unless it runs."""
        if self._process is None:
            command = [sys.executable, "-I", "-S", __file__, str(os.getpid())]
            self._process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
            threading.Thread(target=self._listen, daemon=True).start()

    def since(self, moment: float) -> Lag:
        """Return the lag from a moment of the steady clock until now."""
        now = time.monotonic()
        while not (self._told and self._told[-1].at > now) and time.monotonic() < now + 2:
            time.sleep(TICK_S)
        told = [one for one in self._told if one.at > moment]
        if not told or told[-1].at <= now:
            return Lag(time.monotonic() - now, 0.0)  # it was not let run itself
        return Lag(max(one.late_s for one in told), sum(one.tasks for one in told) / len(told))

    def stop(self) -> None:
        """End it."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            assert self._process.stdout is not None
            self._process.stdout.close()
            self._process = None

    def _listen(self) -> None:
        assert self._process is not None
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._told.append(Told(*map(float, line.split())))


def keep_time(processors: list[int], parent: int) -> None:
    """Tell of lateness and crowd until the parent is gone."""
    worst, running = 0.0, []

    def tick(processor: int) -> None:
        nonlocal worst
        os.sched_setaffinity(0, {processor})
        while True:
            due = time.monotonic() + TICK_S
            time.sleep(TICK_S)
            worst = max(worst, time.monotonic() - due)

    for processor in processors:
        threading.Thread(target=tick, args=(processor,), daemon=True).start()
    while os.getppid() == parent:
        until = time.monotonic() + TOLD_EACH_S
        while time.monotonic() < until:
            running.append(_running() - 1)  # without this look itself
            time.sleep(TICK_S)
        time.sleep(TICK_S)  # whoever is late tells it before it is printed
        print(time.monotonic(), worst, sum(running) / len(running) / len(processors), flush=True)
        worst = 0.0
        running.clear()


def _running() -> int:
    with open("/proc/stat", encoding="ascii") as file:  # noqa: PTH123  # `pathlib` is much to import for this process
        return next(int(line.split()[1]) for line in file if line.startswith("procs_running"))


if __name__ == "__main__":
    keep_time(sorted(os.sched_getaffinity(0)), int(sys.argv[1]))
