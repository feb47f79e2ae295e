"""Examining visits beside the pages: scanning for new ones, and verifying them in a process of its own."""

from __future__ import annotations

import threading
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from handsfree.desk.examination import Examined, examine
from handsfree.desk.index import Index

LOOK_AGAIN_S = 20.0


class Checker:
    """One thread that scans, and one process that examines; pages never wait for either unless they ask."""

    def __init__(self, index: Index) -> None:
        self._index = index
        self._stop = threading.Event()
        self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"))
        self._thread = threading.Thread(target=self._run, name="desk checker", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; what is under way is finished."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=60)
        self._pool.shutdown(cancel_futures=True)

    def examine(self, folder: Path) -> Future[Examined]:
        """Have one visit examined now."""
        return self._pool.submit(examine, folder)

    def _run(self) -> None:
        while not self._stop.is_set():
            self._index.scan()
            while not self._stop.is_set() and (waiting := self._index.unchecked(1)):
                key, folder = waiting[0]
                try:
                    self._index.keep(key, self.examine(folder).result())
                except (OSError, RuntimeError) as error:
                    gone = Examined({"seal": "unreadable", "sentence": str(error) or type(error).__name__})
                    self._index.keep(key, gone)
            self._stop.wait(LOOK_AGAIN_S)
