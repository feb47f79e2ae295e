"""Running a company's processes side by side: one that ends is started again, and all end together."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.company.configuration import CompanyConfiguration, cache_of, state_of, visits_of

LOOK_S = 0.2
PAUSES_S = (0.5, 2.0, 10.0, 30.0)
"""Before a process that ended is started again; the last for every further time."""
STEADY_S = 60.0
"""A process that ran for so long begins with the shortest pause again."""
PARTING_S = 10.0


@dataclass
class ServedProcess:
    """One process: its name, how it is started, and how often it ended of late."""

    name: str
    arguments: Sequence[str]
    started: float = 0.0
    failures: int = 0
    process: subprocess.Popen[bytes] | None = None
    due: float = field(default=0.0)


def processes_of(folder: Path, configuration: CompanyConfiguration) -> list[ServedProcess]:
    """Return what a company runs: the office for its devices, the desk for its supervisors."""
    program = [sys.executable, "-m", "handsfree.commands.app"]
    names = [part for name in configuration.names for part in ("--name", name)]
    visits = str(visits_of(folder))
    kept = configuration.objects
    objects = ["--objects", kept if kept.startswith("s3://") else str(folder / kept)] if kept else []
    store = ["--store", configuration.store] if configuration.store else []
    return [
        ServedProcess(
            "office",
            [*program, "office", visits, "--host", configuration.office_host,
             "--port", str(configuration.office_port), *objects, *names],
        ),
        ServedProcess(
            "desk",
            [*program, "desk", visits, "--host", configuration.desk_host, "--tls",
             "--port", str(configuration.desk_port), *store, *names],
        ),
    ]  # fmt: skip


def run(
    folder: Path, processes: Sequence[ServedProcess], say: Callable[[str], None], stop: threading.Event
) -> None:
    """Keep the processes running until `stop`, or a signal that ends programs; say what starts and what ends."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    try:
        while not stop.wait(LOOK_S):
            for each in processes:
                _look_after(folder, each, say)
    finally:
        _end(processes)


def _look_after(folder: Path, each: ServedProcess, say: Callable[[str], None]) -> None:
    now = time.monotonic()
    if each.process is not None:
        if each.process.poll() is None:
            return
        if now - each.started > STEADY_S:
            each.failures = 0
        pause = PAUSES_S[min(each.failures, len(PAUSES_S) - 1)]
        say(f"{each.name} ended ({each.process.returncode}); again in {pause:g} s")
        each.process, each.failures, each.due = None, each.failures + 1, now + pause
    if now < each.due:
        return
    # All that they write lies in the company's folder: the service may write nowhere else.
    environment = os.environ | {"HANDSFREE_STATE": str(state_of(folder)), "XDG_CACHE_HOME": str(cache_of(folder)),
                                "PYTHONUNBUFFERED": "1"}  # fmt: skip
    # In a group of its own, so that a Ctrl-C reaches it through this program alone.
    each.process = subprocess.Popen(each.arguments, env=environment, start_new_session=True)  # noqa: S603 - our own
    each.started = now
    say(f"{each.name} runs as process {each.process.pid}")


def _end(processes: Sequence[ServedProcess]) -> None:
    running = [each.process for each in processes if each.process is not None]
    for process in running:
        process.terminate()
    until = time.monotonic() + PARTING_S
    for process in running:
        try:
            process.wait(max(0.1, until - time.monotonic()))
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
