"""Examining visits beside the pages: scanning for new ones, and verifying each in a process with limits."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Protocol

from handsfree.desk.examination import examine
from handsfree.desk.index import Index
from handsfree.problem import Problem, one_line
from handsfree.sandbox import Sandbox
from handsfree.store.kept import Examined

LOOK_AGAIN_S = 20.0

LONGEST_S = 120.0
"""One visit may take so long to examine: a day's visit takes some ten seconds on a slow machine."""


def quarantined(problem: Problem) -> Examined:
    """Return what the index keeps of a visit that could not be examined: why."""
    return Examined({"seal": "unreadable", "sentence": problem.sentence()})


class Errand(Protocol):
    """What is done after each look for visits, and after each that was examined."""

    illness: str
    """Why the last of it failed; empty when it did not."""

    def look(self) -> None:
        """Do whatever is to be done now."""


class Checker:
    """One thread that scans, and one process that examines; pages never wait for either unless they ask."""

    def __init__(self, index: Index, *, longest_s: float = LONGEST_S, errands: Sequence[Errand] = ()) -> None:
        self.illness = ""
        """Why the last look for visits failed; empty when it did not."""
        self._index, self._errands = index, errands
        self._stop = threading.Event()
        self._sandbox: Sandbox[Path, Examined] = Sandbox(
            "desk checker", partial(examine, enrolment=index.enrolment), seconds=longest_s
        )
        self._thread = threading.Thread(target=self._run, name="desk checker", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; what is under way is finished."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=60)
        self._sandbox.close()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._look()
                illness = [self._index.unread, *(each.illness for each in self._errands)]
                self.illness = " ".join(each for each in illness if each)
            except Exception as error:  # noqa: BLE001 - the thread must go on, and say that it is ill
                self.illness = one_line(f"the last look for visits failed: {type(error).__name__}: {error}")
            self._stop.wait(LOOK_AGAIN_S)

    def _look(self) -> None:
        """Find what is new, and examine it visit by visit; what cannot be examined keeps its reason instead."""
        self._index.scan()
        while not self._stop.is_set() and (waiting := self._index.unchecked(1)):
            key, folder = waiting[0]
            try:
                examined = self._sandbox.do(folder, where=str(folder))
            except Problem as problem:
                examined = quarantined(problem)
            self._index.keep(key, examined)
            self._do_errands()
        self._do_errands()

    def _do_errands(self) -> None:
        for each in self._errands:
            each.look()
