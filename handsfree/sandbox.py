"""Work on what somebody else has written, in a process that has little and is replaced when it takes more."""

from __future__ import annotations

import resource
import signal
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Any, Generic, TypeVar

from handsfree.child import Child, ChildDied
from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import LARGEST

MEMORY = 3 << 30
"""Bytes of address space; a visit of a day is examined in a tenth of it."""

OPEN_FILES = 64

GRACE_S = 10.0
"""A process whose owner is gone ends itself so long after its time, whatever it is doing."""

Given = TypeVar("Given")
Found = TypeVar("Found")


class WorkEnded(Problem):
    """The work took too much, or ended its process; the same work may go well another time."""


@dataclass(frozen=True)
class _Answer:
    """What came of a piece of work: what it returned, its Problem, or what else went wrong."""

    found: Any = None
    problem: Problem | None = None
    trouble: str = ""


class Sandbox(Generic[Given, Found]):
    """One process that does one piece of work at a time, for at most `seconds` each.

    A piece that runs too long, takes too much memory or kills its process is a Problem of that piece alone: the
    next one finds a new process. `work` is importable, and what it takes and returns can be pickled.
    """

    def __init__(self, name: str, work: Callable[[Given], Found], *, seconds: float, memory: int = MEMORY) -> None:
        self._name, self._work, self._seconds, self._memory = name, work, seconds, memory
        self._child: Child | None = None

    def do(self, given: Given, *, where: str = "") -> Found:
        """Return what the work returns; raise the Problem it raises, or a WorkEnded that says how it failed.

        `where` names the piece in that sentence.
        """
        child = self._child = self._child or Child(self._name, _at_work, self._work, self._seconds, self._memory)
        try:
            child.send(given)
            answer = child.receive(self._seconds)
        except ChildDied as death:
            self.close()
            raise _refused(f"looking at it ended the process ({death})", where) from death
        if answer is None:
            self.close()
            raise _refused(f"looking at it took longer than {self._seconds:g} s", where)
        assert isinstance(answer, _Answer)
        if answer.problem is not None:
            raise answer.problem
        if answer.trouble:
            raise _refused(answer.trouble, where)
        found: Found = answer.found
        return found

    def close(self) -> None:
        """End the process; the next piece of work starts another."""
        child, self._child = self._child, None
        if child is not None:
            child.stop()

    def __enter__(self) -> Sandbox[Given, Found]:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process."""
        self.close()


def _refused(what: str, where: str) -> WorkEnded:
    remedy = "set it aside and ask where it comes from"
    return WorkEnded(what, where=where or None, remedy=remedy, code=ExitCode.FAILED)


def _at_work(pipe: Connection, work: Callable[[Any], Any], seconds: float, memory: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST, LARGEST))
    resource.setrlimit(resource.RLIMIT_NOFILE, (OPEN_FILES, OPEN_FILES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    while True:
        given = pipe.recv()
        signal.setitimer(signal.ITIMER_REAL, seconds + GRACE_S)
        try:
            answer = _Answer(work(given))
        except Problem as problem:
            answer = _Answer(problem=problem)
        except MemoryError:
            answer = _Answer(trouble="looking at it took too much memory")
        except Exception as error:  # noqa: BLE001 - whatever a hostile piece provokes is told of that piece
            answer = _Answer(trouble=f"it cannot be looked at ({type(error).__name__})")
        signal.setitimer(signal.ITIMER_REAL, 0)
        pipe.send(answer)
