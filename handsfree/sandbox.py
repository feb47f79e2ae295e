"""Work on what somebody else has written, in a process that has little and is replaced when it takes more."""

from __future__ import annotations

import resource
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Any, Generic, TypeVar

from handsfree.child import Child, ChildDied
from handsfree.problem import ExitCode, Problem

MEMORY = 3 << 30
"""Bytes of address space; a visit of a day is examined in a tenth of it."""

OPEN_FILES = 64

Given = TypeVar("Given")
Found = TypeVar("Found")


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
        """Return what the work returns; raise the Problem it raises, or one that says what it took too much of.

        `where` names the piece in that sentence.
        """
        child = self._child = self._child or Child(self._name, _at_work, self._work, self._memory)
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
        if self._child is not None:
            self._child.stop()
            self._child = None

    def __enter__(self) -> Sandbox[Given, Found]:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process."""
        self.close()


def _refused(what: str, where: str) -> Problem:
    remedy = "set it aside and ask where it comes from"
    return Problem(what, where=where or None, remedy=remedy, code=ExitCode.FAILED)


def _at_work(pipe: Connection, work: Callable[[Any], Any], memory: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_NOFILE, (OPEN_FILES, OPEN_FILES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    while True:
        given = pipe.recv()
        try:
            answer = _Answer(work(given))
        except Problem as problem:
            answer = _Answer(problem=problem)
        except MemoryError:
            answer = _Answer(trouble="looking at it took too much memory")
        except Exception as error:  # noqa: BLE001 - whatever a hostile piece provokes is told of that piece
            answer = _Answer(trouble=f"it cannot be looked at ({type(error).__name__})")
        pipe.send(answer)
