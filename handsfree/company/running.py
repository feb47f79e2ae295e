"""Running a company's processes side by side: one that ends is started again, and all end together."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.company import own_database, own_objects
from handsfree.company.configuration import OUTGOING, CompanyConfiguration, cache_of, state_of, visits_of

LOOK_S = 0.2
PAUSES_S = (0.5, 2.0, 10.0, 30.0)
"""Before a process that ended is started again; the last for every further time."""
STEADY_S = 60.0
"""A process that ran for so long begins with the shortest pause again."""
PARTING_S = 10.0
_TIE = shutil.which("setpriv")
"""Util-linux's setpriv(1): the kernel ends what it starts when this program dies, even killed."""


@dataclass
class ServedProcess:
    """One process: its name, how it is started and asked to end, and how often it ended of late.

    It starts when all that it needs answers; what it needs may end later without ending it.
    """

    name: str
    arguments: Sequence[str]
    needs: Sequence[ServedProcess] = ()
    answers: Callable[[], bool] = lambda: True
    environment: Mapping[str, str] = field(default_factory=dict)
    folder: Path | None = None
    ended_by: signal.Signals = signal.SIGTERM
    orphaned_by: signal.Signals | None = None
    """What ends it when this program dies; as at any other end where None."""
    started: float = 0.0
    failures: int = 0
    process: subprocess.Popen[bytes] | None = None
    due: float = field(default=0.0)


def processes_of(folder: Path, configuration: CompanyConfiguration) -> list[ServedProcess]:
    """Return what a company runs: stores of its own where it has any, the office for devices, the desk."""
    program = [sys.executable, "-m", "handsfree.commands.app"]
    names = [part for name in configuration.names for part in ("--name", name)]
    visits, state = str(visits_of(folder)), state_of(folder)
    kept = configuration.objects
    objects = ["--objects", kept if kept.startswith("s3://") else str(folder / kept)] if kept else []
    store = ["--store", configuration.store] if configuration.store else []
    database, bucket = _database(folder, configuration), _bucket(folder, configuration)
    settings = state / own_objects.SETTINGS
    return [
        *database,
        *bucket,
        ServedProcess(
            "office",
            [*program, "office", visits, "--host", configuration.office_host,
             "--port", str(configuration.office_port), *objects, *names],
            needs=bucket, environment=own_objects.environment(settings) if bucket else {},
        ),
        ServedProcess(
            "desk",
            [*program, "desk", visits, "--host", configuration.desk_host, "--tls", "--sign-in",
             "--port", str(configuration.desk_port), "--outgoing", str(folder / OUTGOING), *store, *names],
            needs=database, environment={"PGPASSFILE": str(state / own_database.PASSWORDS)} if database else {},
        ),
    ]  # fmt: skip


def _database(folder: Path, configuration: CompanyConfiguration) -> list[ServedProcess]:
    if not configuration.own_database:
        return []
    return [
        ServedProcess(
            "database", own_database.serving(folder), answers=lambda: own_database.answers(folder),
            folder=Path("/"), ended_by=signal.SIGINT,  # it lets go of those who are connected
        )
    ]  # fmt: skip


def _bucket(folder: Path, configuration: CompanyConfiguration) -> list[ServedProcess]:
    if not configuration.own_objects_port:
        return []
    settings = state_of(folder) / own_objects.SETTINGS
    return [
        ServedProcess(
            "objects", own_objects.serving(folder, configuration.own_objects_port),
            answers=lambda: own_objects.answers(settings), folder=folder / own_objects.FOLDER,
            orphaned_by=signal.SIGKILL,  # it takes its time otherwise, and holds its ports
        )
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
    if now < each.due or not all(one.process and one.answers() for one in each.needs):
        return
    # All that they write lies in the company's folder: the service may write nowhere else.
    environment = os.environ | {"HANDSFREE_STATE": str(state_of(folder)), "XDG_CACHE_HOME": str(cache_of(folder)),
                                "PYTHONUNBUFFERED": "1"} | dict(each.environment)  # fmt: skip
    # In a group of its own, so that a Ctrl-C reaches it through this program alone.
    each.process = subprocess.Popen(  # noqa: S603 - our own
        _tied(each), env=environment, start_new_session=True, cwd=each.folder
    )
    each.started = now
    say(f"{each.name} runs as process {each.process.pid}")


def _tied(each: ServedProcess) -> Sequence[str]:
    """Return a command line whose process is asked to end when this program dies.

    Else a program that is started again finds its places taken by what the killed one left.
    """
    if _TIE is None:
        return each.arguments
    tied = f"--pdeathsig={(each.orphaned_by or each.ended_by).name}"
    given = list(each.arguments)
    return [_TIE, tied, *(given[1:] if given[0] == "setpriv" else given)]


def _end(processes: Sequence[ServedProcess]) -> None:
    """End all, those first that need others."""
    for each in reversed(processes):
        if each.process is None:
            continue
        each.process.send_signal(each.ended_by)
        try:
            each.process.wait(PARTING_S)
        except subprocess.TimeoutExpired:
            each.process.kill()
            each.process.wait()
