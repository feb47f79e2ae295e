"""Hearing visits again beside the pages: one after the other, on one core, behind everything else."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from handsfree.desk.examination import examine
from handsfree.desk.index import Index
from handsfree.problem import Problem, one_line
from handsfree.rehearing.kept import kept_result
from handsfree.rehearing.limits import LONGEST_S
from handsfree.rehearing.work import hear_again
from handsfree.sandbox import Sandbox
from handsfree.store.kept import Examined

LOOK_AGAIN_S = 30.0


def heard_and_examined(folder: Path, enrolment: Path | None) -> Examined:
    """Hear a visit again and return what the index keeps of it with what was found."""
    hear_again(folder)
    return examine(folder, enrolment)


class HearingAgain:
    """One thread that looks for visits that were not heard again, and one process that hears them."""

    def __init__(self, index: Index, *, longest_s: float = LONGEST_S) -> None:
        self._index = index
        self._stop = threading.Event()
        self._refused: dict[tuple[str, str], str] = {}
        self._failed = ""
        self._done: set[tuple[str, str]] = set()
        self._sandbox: Sandbox[Path, Examined] = Sandbox(
            "hearing again", partial(heard_and_examined, enrolment=index.enrolment), seconds=longest_s
        )
        self._thread = threading.Thread(target=self._run, name="hearing again", daemon=True)

    @property
    def illness(self) -> str:
        """Which visits could not be heard again, and why; empty when there are none."""
        refused = list(self._refused.values())
        more = f" And {len(refused) - 1} more." if len(refused) > 1 else ""
        return self._failed or (f"Not heard again: {refused[0]}.{more}" if refused else "")

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End at once: what was under way is heard another time."""
        self._stop.set()
        self._sandbox.close()
        if self._thread.is_alive():
            self._thread.join(timeout=10)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self.look()
                self._failed = ""
            except Exception as error:  # noqa: BLE001 - the thread must go on, and say that it is ill
                self._failed = one_line(f"hearing again failed: {type(error).__name__}: {error}")
            self._stop.wait(LOOK_AGAIN_S)

    def look(self) -> None:
        """Hear again what was examined and not heard since, the newest first."""
        for state, folder in self._waiting():
            if self._stop.is_set():
                return
            key, _ = state
            try:
                examined = self._sandbox.do(folder, where=str(folder))
            except Problem as problem:
                if self._stop.is_set():
                    return
                self._refused[state] = one_line(problem.sentence())
                continue
            self._done.add(state)
            self._index.keep(key, examined)

    def _waiting(self) -> Iterator[tuple[tuple[str, str], Path]]:
        """Yield the key and state of each such visit, with its folder."""
        for key, light, folder in self._index.examined():
            state = (key, light)
            if state in self._done or state in self._refused:
                continue
            view = self._index.view(key)
            if view is not None and view.heard_again is not None and kept_result(folder) is not None:
                self._done.add(state)
                continue
            yield state, folder
