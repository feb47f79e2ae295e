"""Workers on many machines, by Ray (the extra `fleet`): one task a visit, tried again where a machine is lost.

Ray spreads the tasks; what a visit may take is limited as on one machine, by a process of its own beside the task.
Every machine needs this program in the same version, and a way to the visits: the same folder, or an object store.
Whoever has Ray's token (~/.ray/auth_token; Ray's ports are open to the network) can run anything on all of them.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.fleet.conditions import conditions_here
from handsfree.fleet.jobs import Assignment, JobOutcome, carry_out
from handsfree.fleet.workers import LONGEST_S, Finished, Work
from handsfree.ledger import state_folder
from handsfree.office.enrolment import NAME
from handsfree.problem import Problem
from handsfree.sandbox import Sandbox, WorkEnded

HERE = "local"
"""The address that starts Ray on this machine alone, for this run."""

RESERVED = 512 << 20
"""Bytes of memory that a machine must have left to be given a visit; a visit of a day takes about 300 MB."""

LOST_MACHINES = 3
"""A task is begun anew so often where the machine or Ray's own process is lost."""


@dataclass(frozen=True)
class _Given:
    """What all tasks of a run share: the work, its limit, the list, and what must be alike on each machine."""

    work: Work
    longest_s: float
    listed: bytes | None
    conditions: Mapping[str, str]


class RayWorkers:
    """A cluster of Ray, found by its address; as many visits at a time as it has processors."""

    def __init__(
        self,
        address: str,
        count: int,
        work: Work = carry_out,
        *,
        enrolment: Path | None = None,
        longest_s: float = LONGEST_S,
        job: str = "",
    ) -> None:
        """Join a cluster, or start one with `count` processors for HERE; Problem when that is not possible."""
        os.environ.setdefault("RAY_USAGE_STATS_ENABLED", "0")  # else it tells its maker of each start
        try:
            import ray  # noqa: PLC0415 - an extra
        except ImportError as error:
            raise Problem("--ray needs Ray", remedy="pip install 'handsfree[fleet]'") from error
        where: dict[str, Any] = {"num_cpus": count, "_node_ip_address": "127.0.0.1", "include_dashboard": False}
        try:
            ray.init(**(where if address == HERE else {"address": address}), log_to_driver=False)
        except (ConnectionError, RuntimeError, ValueError, OSError) as error:
            what, remedy = f"no cluster answers: {error}", f"start one with `ray start`, or say {HERE!r}"
            raise Problem(what, where=address, remedy=remedy) from error
        self._ray: Any = ray
        listed = _listed(enrolment)
        self._given = ray.put(_Given(work, longest_s, listed, conditions_here(enrolment, job)))
        self._task = ray.remote(num_cpus=1, memory=RESERVED, max_retries=LOST_MACHINES)(_in_a_task)
        self._under_way: dict[Any, Assignment] = {}

    @property
    def most_at_once(self) -> int:
        """Twice as many as there are processors now, so that none waits for the driver."""
        return 2 * max(int(self._ray.cluster_resources().get("CPU", 1)), 1)

    def take(self, assignment: Assignment) -> None:
        """Hand an assignment to the cluster."""
        self._under_way[self._task.remote(assignment, self._given)] = assignment

    def finished(self) -> Iterator[Finished]:
        """Wait for at least one, and yield those that have ended."""
        self._ray.wait(list(self._under_way), num_returns=1)
        ended, _ = self._ray.wait(list(self._under_way), num_returns=len(self._under_way), timeout=0)
        for each in ended:
            assignment = self._under_way.pop(each)
            try:
                yield assignment, self._ray.get(each)
            except self._ray.exceptions.RayError as error:
                yield assignment, WorkEnded(f"the cluster lost it: {type(error).__name__}", where=assignment.name)

    def close(self) -> None:
        """Leave the cluster; what was under way is lost, and a cluster of this run ends."""
        self._ray.shutdown()


def _listed(enrolment: Path | None) -> bytes | None:
    """Return the enrolment list that was given, or this machine's own; None where there is none."""
    file = enrolment or state_folder() / NAME
    try:
        return file.read_bytes()
    except FileNotFoundError:
        return None


def _in_a_task(assignment: Assignment, given: _Given) -> JobOutcome | WorkEnded:
    """Do the work in a limited process beside Ray's own; runs on whatever machine Ray chose."""
    try:
        enrolment = _laid_out(given.listed)
        if _conditions(enrolment, assignment.job) != given.conditions:
            return WorkEnded(f"{platform.node()} has another version of the program, or a list of its own")
        return _sandbox(given.work, given.longest_s).do(replace(assignment, enrolment=enrolment))
    except WorkEnded as ended:
        return ended
    except Problem as problem:
        return WorkEnded(problem.sentence())


@cache
def _sandbox(work: Work, longest_s: float) -> Sandbox[Assignment, JobOutcome]:
    """Return the limited process of this process of Ray; it ends with it."""
    return Sandbox("fleet worker", work, seconds=longest_s)


@cache
def _conditions(enrolment: Path | None, job: str) -> Mapping[str, str]:
    """Return what is so in this process, looked at once."""
    return conditions_here(enrolment, job)


@cache
def _laid_out(listed: bytes | None) -> Path | None:
    """Write the list where the work finds it, once in each process of Ray."""
    if listed is None:
        return None
    folder = Path(tempfile.gettempdir()) / f"handsfree-lists-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    if folder.stat().st_uid != os.getuid():
        raise Problem("somebody else made this folder", where=str(folder), remedy="remove it")
    file = folder / hashlib.sha256(listed).hexdigest()
    part = file.with_name(f"{file.name}.{os.getpid()}")
    part.write_bytes(listed)
    with contextlib.suppress(FileExistsError):
        part.rename(file)
    return file
