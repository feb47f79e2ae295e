"""A child process that may die: native code of sound and speech libraries runs there, never in the visit."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path


class ChildDied(Exception):  # noqa: N818 - it is an event to act on, not a developer's mistake
    """The child ended, or its pipe broke; the text says how."""


class Child:
    """A spawned process and the pipe to it.

    Spawned, never forked: a forked child would inherit a half-initialised speech engine and locks held
    by other threads. `work` is called in the child as `work(pipe, *arguments)`; it and its arguments must
    be importable or picklable.
    """

    def __init__(self, name: str, work: Callable[..., None], *arguments: object) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_run, args=(work, theirs, arguments), name=name, daemon=True)
        self._process.start()
        theirs.close()
        self.process_id = self._process.pid or 0
        """The operating system's number of the process."""

    def send(self, message: object) -> None:
        """Pass a message to the child; raises ChildDied when it has ended."""
        try:
            self._pipe.send(message)
        except OSError as fault:
            raise ChildDied(self._ending()) from fault

    def receive(self, patience_s: float) -> object | None:
        """Return the next message, or None when none comes in time; raises ChildDied."""
        try:
            return self._pipe.recv() if self._pipe.poll(patience_s) else None
        except (EOFError, OSError) as fault:
            raise ChildDied(self._ending()) from fault

    def worked_s(self) -> float | None:
        """Return how long the processor has worked for it, in s; None where the system does not tell.

        The fields of `/proc/PID/stat` are those of proc(5): utime and stime, the 14th and 15th.
        """
        try:
            stat = Path(f"/proc/{self.process_id}/stat").read_text(encoding="utf-8")
        except OSError:
            return None
        utime, stime = stat.rpartition(")")[2].split()[11:13]
        return (int(utime) + int(stime)) / os.sysconf("SC_CLK_TCK")

    def kill(self) -> None:
        """End the child at once, whatever it is doing."""
        self._process.kill()
        self._process.join()

    def stop(self) -> None:
        """End the child at once and free what it held here; it cannot be used afterwards."""
        self.kill()
        with contextlib.suppress(ValueError):  # another thread is just learning how it ended
            self._process.close()
        self._pipe.close()

    def _ending(self) -> str:
        self._process.join(1.0)
        code = self._process.exitcode
        if code is None:
            return "its pipe broke"
        if code < 0:
            with contextlib.suppress(ValueError):
                return f"ended by {signal.Signals(-code).name}"
        return f"ended with exit code {code}"


def _run(work: Callable[..., None], pipe: Connection, arguments: tuple[object, ...]) -> None:
    # Ctrl-C is for the visit to handle; the child goes when its pipe closes.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(EOFError, BrokenPipeError, ConnectionResetError):
        work(pipe, *arguments)
