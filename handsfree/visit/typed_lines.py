"""Lines typed by a person or sent by a program: any bytes, of any length, until there are no more."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from handsfree.events.devices import DeviceChange

LONGEST_LINE = 500
"""Characters of a line that are looked at: more than a reason or a note needs."""
CUT = " …"
"""Stands for what is left out of a longer line, so that its beginning is not taken for an answer."""
LINES_WAITING = 64
"""Whoever sends faster than the visit takes lines in must wait."""
PIECE = 65_536


@dataclass
class Lines:
    """Divides bytes into lines of text, however they come in pieces."""

    _begun: bytes = b""
    _past_the_end: bool = False
    """The line at hand was given out already, cut; the rest of it is nothing."""

    def of(self, piece: bytes) -> Iterator[str]:
        """Yield the lines that a piece ends; one that is too long as soon as it is, without what follows in it."""
        *whole, rest = piece.split(b"\n")
        for end in whole:
            if not self._past_the_end:
                yield _text(self._begun + end)
            self._begun, self._past_the_end = b"", False
        if not self._past_the_end:
            self._begun += rest
        if len(self._begun) > 4 * LONGEST_LINE:  # no character takes more than four bytes
            yield _text(self._begun)
            self._begun, self._past_the_end = b"", True

    def last(self) -> Iterator[str]:
        """Yield the line that was not ended."""
        if self._begun:
            yield _text(self._begun)


def _text(line: bytes) -> str:
    """Return bytes as printable text; what is no UTF-8 becomes a sign of its own."""
    text = line.rstrip(b"\r")[: 4 * LONGEST_LINE + 1].decode("utf-8", "replace")
    shown = "".join(character if character.isprintable() else " " for character in text)
    return shown if len(shown) <= LONGEST_LINE else shown[:LONGEST_LINE] + CUT


class TypedLines:
    """Lines from a stream, read by a thread of their own; its end is the loss of the keys.

    `read` returns some bytes as soon as there are any (at most as many as it is asked for), b"" at the end.
    """

    def __init__(self, read: Callable[[int], bytes]) -> None:
        self._lines: queue.Queue[str] = queue.Queue(LINES_WAITING)
        self._ended = threading.Event()
        self._told = False
        self._read = read
        threading.Thread(target=self._pump, name="handsfree keys", daemon=True).start()

    @property
    def over(self) -> bool:
        """Whether no line can come any more, and that was told."""
        return self._told

    def line(self) -> str | None:
        """Return the next line, or None."""
        try:
            return self._lines.get_nowait()
        except queue.Empty:
            return None

    def change(self) -> DeviceChange | None:
        """Return, once, that the keys are lost: after the last line."""
        if self._told or not (self._ended.is_set() and self._lines.empty()):
            return None
        self._told = True
        return DeviceChange("keys", lost=True)

    def _pump(self) -> None:
        lines = Lines()
        try:
            with contextlib.suppress(OSError, ValueError):  # a terminal that has gone, a stream that was closed
                while piece := self._read(PIECE):
                    for line in lines.of(piece):
                        self._lines.put(line)
            for line in lines.last():
                self._lines.put(line)
        finally:
            self._ended.set()
