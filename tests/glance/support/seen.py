"""A program run in a real pseudo-terminal, and what a person in front of it would see."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pexpect
import pyte

from handsfree.glance.letters import SIZES, big

ROOT = Path(__file__).resolve().parents[3]


class Seen:
    """A command in a terminal of some size; the screen is what a terminal emulator (pyte) makes of its output."""

    def __init__(self, command: list[str], *, columns: int = 80, rows: int = 24, cwd: Path | None = None) -> None:
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        environment = {**os.environ, "TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8", "LANG": "C.UTF-8"}
        self.child = pexpect.spawn(
            command[0], command[1:], dimensions=(rows, columns), timeout=30, cwd=cwd, env=environment
        )
        self.child.delaybeforesend = None
        self.child.ptyproc.delayafterterminate = 0.5  # a busy machine takes longer than 0.1 s to end a process
        self.sent = b""

    def follow(self, seconds: float = 0.1) -> None:
        """Read what comes for some time."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            try:
                data = self.child.read_nonblocking(65536, timeout=0.05)
            except pexpect.TIMEOUT:
                continue
            except pexpect.EOF:
                return
            self.sent += data
            self._stream.feed(data)

    def text(self) -> str:
        """Return the screen as text."""
        return "\n".join(self.screen.display)

    def until(self, words: str, *, large: bool = False, seconds: float = 60) -> None:
        """Follow until the words stand on the screen, in plain or in large letters."""
        until, read = time.monotonic() + seconds, -1
        while time.monotonic() < until:
            self.follow(0.1)
            if len(self.sent) == read:
                continue
            read = len(self.sent)
            if (large and self.large(words)) or (not large and words in self.text()):
                return
        raise AssertionError(f"no {words!r} in {seconds} s on:\n{self.text()}")

    def large(self, words: str) -> bool:
        """Say whether every one of the words stands on the screen in large letters."""
        return all(self._word(word) for word in words.split())

    def _word(self, word: str) -> bool:
        display = self.screen.display
        for size in SIZES:
            rows = [row.rstrip() for row in big(word, size)[: size.rows - size.down // 2]]
            for top in range(len(display) - len(rows) + 1):
                lead = len(rows[0]) - len(rows[0].lstrip())
                start = display[top].find(rows[0].strip())
                if start >= lead and all(
                    display[top + number][start - lead :].startswith(row) for number, row in enumerate(rows)
                ):
                    return True
        return False

    def press(self, *keys: str, after: float = 0.25) -> None:
        """Press keys one after the other, at the pace of a person who has read what is there."""
        self.follow(0.3)
        for key in keys:
            self.child.send(KEYS.get(key, key))
            self.follow(after)


KEYS = {
    "up": "\x1b[A",
    "down": "\x1b[B",
    "right": "\x1b[C",
    "left": "\x1b[D",
    "enter": "\r",
    "page down": "\x1b[6~",
}
