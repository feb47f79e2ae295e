"""An instrument followed during a visit: a file that grows, a pipe, or a serial line, read in a thread of its own.

Only what comes after the visit has begun counts; nothing is written to the source, and its settings stay as they
are. The visit never waits for it: the newest row is taken, at most one a second.
"""

from __future__ import annotations

import os
import stat
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from handsfree.events import inputs as inp
from handsfree.events.devices import INSTRUMENT, DeviceChange
from handsfree.instruments.mapping import MappingFile
from handsfree.instruments.rows import ByteLines, ReadRow, Rows, UnreadLine
from handsfree.problem import Problem, one_line

PERIOD_S = 0.2
PIECE = 16_384
"""Bytes read in one period: some 80 kB a second, a hundred times what a serial line of 9,600 baud brings."""
BETWEEN_MS = 1_000
"""Rows that come faster are thinned to the newest."""
SILENT_MS = 60_000
"""After this long without a row that may count, the instrument is told to be silent: no source."""
STALE_MS = 60_000
"""A row that is older, or younger than now, by the instrument's own clock: it may not count."""
MOST_LEFT_OUT = 1_000_000


@dataclass(frozen=True)
class _Came:
    row: ReadRow
    at: float
    """By the monotonic clock, s."""
    wall: datetime


class FollowedInstrument:
    """Follows one source until it is left; what is wrong with it is told once, in one sentence, by `note`."""

    def __init__(
        self, file: MappingFile, source: Path, wall: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        """Raise Problem when the source cannot be opened, or is neither a file nor a line."""
        self._file, self._source, self._wall = file, source, wall
        self.note: Callable[[str], None] = lambda _: None
        self._rows, self._lines = Rows(file), ByteLines()
        self._came: _Came | None = None
        self._told: set[str] = set()
        self._left_out = 0
        self._broken = False
        self._lost = False
        self._last_given = -BETWEEN_MS
        self._last_fresh: int | None = None
        self._over, self._lock = threading.Event(), threading.Lock()
        try:
            self._handle = self._open()
        except OSError as error:
            what = f"the instrument cannot be read ({error.strerror})"
            raise Problem(what, where=str(source), remedy="name the file or the line that it writes to") from error
        self._at_the_end()
        self._thread = threading.Thread(target=self._follow, name="handsfree instrument", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join(5.0)
        os.close(self._handle)

    def news(self, now: int) -> inp.InstrumentRow | DeviceChange | None:
        """Return, each once, a row that came, or that it was lost or found; `now` in ms of the visit."""
        fresh = self._fresh(now) if now - self._last_given >= BETWEEN_MS else None
        if self._last_fresh is None:
            self._last_fresh = now
        if fresh is not None:
            if self._lost:
                self._lost = False
                return DeviceChange(INSTRUMENT, lost=False)
            with self._lock:
                self._came = None
            self._last_given = self._last_fresh = now
            return fresh
        if not self._lost and (self._broken or now - self._last_fresh >= SILENT_MS):
            self._lost = True
            return DeviceChange(INSTRUMENT, lost=True)
        return None

    def _fresh(self, now: int) -> inp.InstrumentRow | None:
        """Return the newest row where it may count."""
        with self._lock:
            came = self._came
        if came is None:
            return None
        lag = 0 if came.row.taken is None else round((came.wall - came.row.taken).total_seconds() * 1000)
        if abs(lag) > STALE_MS:
            self._tell(
                "stale", f"its clock is {abs(lag) // 1000} s {'behind' if lag > 0 else 'ahead'}: no row counts"
            )
            with self._lock:
                self._came = None
            return None
        held = round((time.monotonic() - came.at) * 1000)
        units = {one.quantity: one.unit for one in self._file.mapping.columns}
        values = tuple(
            inp.InstrumentValue(
                quantity=name, value=value if isinstance(value, str) else f"{value:f}", unit=units[name]
            )
            for name, value in came.row.values.items()
        )
        return inp.InstrumentRow(
            at=now,
            taken=now - held - max(lag, 0),
            instrument=self._file.mapping.name,
            mapping=self._file.sha256[:12],
            values=values,
            left_out=self._left_out,
        )

    def _open(self) -> int:
        flags = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOCTTY
        handle = os.open(self._source, flags)
        mode = os.fstat(handle).st_mode
        if not (stat.S_ISREG(mode) or stat.S_ISFIFO(mode) or stat.S_ISCHR(mode)):
            os.close(handle)
            raise OSError(0, "it is neither a file nor a line")
        return handle

    def _at_the_end(self) -> None:
        """Read the header of a file, and pass over the rows that it holds already."""
        if not stat.S_ISREG(os.fstat(self._handle).st_mode):
            return
        size, begun = os.fstat(self._handle).st_size, 0
        header = ByteLines()
        while begun < min(size, PIECE) and self._rows.line < self._file.mapping.header:
            piece = os.read(self._handle, PIECE)
            begun += len(piece)
            for line in header.of(piece):
                if self._rows.line < self._file.mapping.header:
                    self._rows.read(line)
        if begun >= size and self._rows.line < self._file.mapping.header:
            self._lines = header  # the header itself is still being written
            return
        os.lseek(self._handle, max(size - 1, 0), os.SEEK_SET)
        if size and os.read(self._handle, 1) != b"\n":
            list(self._lines.of(b"x" * 10_000))  # the rest of a line that is being written is no line

    def _follow(self) -> None:
        try:
            while not self._over.wait(PERIOD_S):
                self._look()
        except Problem as problem:
            self._broken = True
            self._tell("broken", problem.sentence())

    def _look(self) -> None:
        """Read what has come; a line that has gone is opened again when it is back."""
        try:
            if self._begun_anew():
                os.close(self._handle)
                self._handle, self._rows, self._lines = self._open(), Rows(self._file), ByteLines()
            piece = os.read(self._handle, PIECE)
        except BlockingIOError:
            return
        except OSError as error:
            self._tell("gone", f"it cannot be read now ({error.strerror})")
            self._open_again()
            return
        for line in self._lines.of(piece):
            read = self._rows.read(line)
            if isinstance(read, UnreadLine):
                self._left_out = min(self._left_out + 1, MOST_LEFT_OUT)
                self._tell("lines", f"its line {read.line} is left out: {read.why}; such lines are counted")
            elif read is not None:
                with self._lock:
                    self._came = _Came(read, time.monotonic(), self._wall())

    def _open_again(self) -> None:
        try:
            handle = self._open()
        except OSError:
            return
        os.close(self._handle)
        self._handle, self._lines = handle, ByteLines()

    def _begun_anew(self) -> bool:
        """Say whether a file was cut, or another lies in its place."""
        mine = os.fstat(self._handle)
        if not stat.S_ISREG(mine.st_mode):
            return False
        there = self._source.stat()
        return there.st_ino != mine.st_ino or there.st_size < os.lseek(self._handle, 0, os.SEEK_CUR)

    def _tell(self, about: str, sentence: str) -> None:
        if about not in self._told:
            self._told.add(about)
            self.note(f"Instrument {one_line(self._file.mapping.name)}: {one_line(sentence)}.")
