"""Who does the work: here, worker processes of this machine, each with limits and replaced when it ends."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from handsfree.fleet.jobs import Assignment, JobOutcome, carry_out
from handsfree.problem import Problem
from handsfree.sandbox import Sandbox, WorkEnded

LONGEST_S = 300.0
"""One visit may take so long on a slow machine."""

Work = Callable[[Assignment], JobOutcome]
Finished = tuple[Assignment, JobOutcome | WorkEnded]


class Workers(Protocol):
    """A number of workers, on this machine or on many."""

    @property
    def most_at_once(self) -> int:
        """How many assignments they hold, waiting ones among them."""

    def take(self, assignment: Assignment) -> None:
        """Begin an assignment, or have it wait for a free worker."""

    def finished(self) -> Iterator[Finished]:
        """Wait for at least one assignment to end, and yield those that have."""

    def close(self) -> None:
        """End all workers; what they are at is lost."""


class LocalWorkers:
    """Processes of this machine: one visit at a time each, within limits of time, memory and files."""

    def __init__(self, count: int, work: Work = carry_out, *, longest_s: float = LONGEST_S) -> None:
        self._count, self._work, self._longest_s = count, work, longest_s
        self._scratch = tempfile.TemporaryDirectory(prefix="handsfree-fleet-", ignore_cleanup_errors=True)
        self._pool = ThreadPoolExecutor(count, thread_name_prefix="fleet")
        self._own = threading.local()
        self._sandboxes: list[Sandbox[Assignment, JobOutcome]] = []
        self._under_way: set[Future[Finished]] = set()

    @property
    def most_at_once(self) -> int:
        """As many as there are workers, and one that waits, so that none is idle while the next is looked up."""
        return self._count + 1

    def take(self, assignment: Assignment) -> None:
        """Hand an assignment to the next free worker."""
        here = replace(assignment, scratch=Path(self._scratch.name))
        self._under_way.add(self._pool.submit(self._one, here))

    def _one(self, assignment: Assignment) -> Finished:
        """Work in the process of this thread; a Problem is that of a store that failed, so it is tried again."""
        if not hasattr(self._own, "sandbox"):
            self._own.sandbox = Sandbox("fleet worker", self._work, seconds=self._longest_s)
            self._sandboxes.append(self._own.sandbox)
        try:
            return assignment, self._own.sandbox.do(assignment)
        except WorkEnded as ended:
            return assignment, ended
        except Problem as problem:
            return assignment, WorkEnded(problem.sentence())

    def finished(self) -> Iterator[Finished]:
        """Wait for at least one, and yield those that have ended."""
        ended, self._under_way = wait(self._under_way, return_when=FIRST_COMPLETED)
        for each in ended:
            yield each.result()

    def close(self) -> None:
        """End the processes at once."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        for sandbox in self._sandboxes:
            sandbox.close()
        self._scratch.cleanup()
