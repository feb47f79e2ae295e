"""The picture on a terminal, and single keys from it; the terminal is given back as it was found."""

from __future__ import annotations

import codecs
import contextlib
import io
import os
import re
import select
import signal
import sys
import tempfile
import termios
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Self

from rich.color import ColorSystem
from rich.console import Console
from rich.text import Text

from handsfree.events.devices import DeviceChange
from handsfree.glance import key_names, screen
from handsfree.glance.watching import STALE_S, LiveScreen

PERIOD_S = 0.2
WHOLE_EVERY = 25
"""Every so many pictures all lines are written anew, in case something else wrote over them."""

_ENTER = "\x1b[?1049h\x1b[?25l\x1b[?7l\x1b[2J"
_LEAVE = "\x1b[0m\x1b[?7h\x1b[?25h\x1b[?1049l"
_TOGETHER, _SHOWN = "\x1b[?2026h", "\x1b[?2026l"
"""Terminals that know it show what lies between these at once; others ignore them."""

_KEYS = {
    "A": key_names.UP,
    "B": key_names.DOWN,
    "C": key_names.RIGHT,
    "D": key_names.LEFT,
    "5~": key_names.LEFT,
    "6~": key_names.ENTER,
    "M": key_names.ENTER,
}
"""Ends of escape sequences: arrows, page up and down (presenters, foot switches), the keypad's enter."""
_SEQUENCE = re.compile(r"\x1b(?:\[[0-9;?]*[ -/]*[@-~]|O[A-Za-z])")
_BEGUN = re.compile(r"\x1b(?:\[[0-9;?]*|O)?$")


def keys_in(text: str) -> tuple[list[str], str]:
    """Return the keys in what a terminal sent, and the beginning of a sequence that is not whole yet."""
    keys: list[str] = []
    place = 0
    while place < len(text):
        if text[place] == "\x1b":
            found = _SEQUENCE.match(text, place)
            if found is None:
                if _BEGUN.match(text, place):
                    return keys, text[place:]
                place += 1
                continue
            body, place = found[0][2:], found.end()
            keys += [_KEYS[body]] if body in _KEYS else []
            continue
        keys += _plain(text[place])
        place += 1
    return keys, ""


def _plain(character: str) -> list[str]:
    if character in " \r\n":
        return [key_names.SPACE if character == " " else key_names.ENTER]
    if character in "\x7f\b":
        return [key_names.LEFT]
    if character in "0123456789":
        return [character]
    return [key_names.WORD + character] if character.isprintable() else []


def usable() -> bool:
    """Say whether a person sits at a terminal that can show it."""
    encoding = (sys.stdout.encoding or "").lower().replace("-", "")
    return sys.stdin.isatty() and sys.stdout.isatty() and encoding == "utf8" and os.environ.get("TERM") != "dumb"


class Painter:
    """Turns lines into what a terminal must be sent: only those that changed."""

    def __init__(self, *, colours: bool) -> None:
        self._console = Console(file=io.StringIO(), force_terminal=True, legacy_windows=False)
        self._colours = colours
        self._before: list[str] = []

    def sent(self, lines: list[Text], *, whole: bool = False) -> str:
        """Return the bytes for these lines, as text; empty when nothing changed."""
        drawn = [self._drawn(line) for line in lines]
        whole = whole or len(drawn) != len(self._before)
        changed = [
            f"\x1b[{row + 1};1H{line}" for row, line in enumerate(drawn) if whole or line != self._before[row]
        ]
        self._before = drawn
        return f"{_TOGETHER}{''.join(changed)}{_SHOWN}" if changed else ""

    def _drawn(self, line: Text) -> str:
        base = self._console.get_style(line.style)
        parts = []
        for segment in line.render(self._console, end=""):
            style = base if segment.style is None else base + segment.style
            shown = style if self._colours else style.without_color
            parts.append(shown.render(segment.text, color_system=ColorSystem.STANDARD))
        return "".join(parts)


class Terminal:
    """Shows a watched visit until it is left; then the terminal is as it was, however it is left."""

    def __init__(
        self, *, phone: str = "", first: Sequence[str] = (), followed: threading.Event | None = None
    ) -> None:
        """`phone` is the page's address; `first` is shown until a key is pressed or somebody has `followed`."""
        self._phone, self._first = phone, tuple(first)
        self._begun = followed or threading.Event()
        self._live: LiveScreen | None = None
        self._over = threading.Event()
        self._threads: list[threading.Thread] = []
        self._undo = contextlib.ExitStack()

    def __enter__(self) -> Self:
        with contextlib.ExitStack() as undo:
            undo.enter_context(_errors_kept())
            undo.enter_context(_single_keys(sys.stdin.fileno()))
            undo.enter_context(_stopped_by_signals())
            undo.callback(_write, _LEAVE)
            _write(_ENTER)
            self._undo = undo.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        if self._live is not None:
            self._live.changed.set()
        for thread in self._threads:
            thread.join(2.0)
        self._undo.close()

    def show(self, live: LiveScreen) -> None:
        """Begin to show a visit and to take keys for it."""
        self._live = live
        live.opened("keys")
        for work in (self._paint, self._read):
            thread = threading.Thread(target=work, name="handsfree glance", daemon=True)
            thread.start()
            self._threads.append(thread)

    def _paint(self) -> None:
        assert self._live is not None
        painter, count, size = Painter(colours="NO_COLOR" not in os.environ), 0, (0, 0)
        while not self._over.is_set():
            columns, rows = os.get_terminal_size(sys.stdout.fileno())
            whole, size = count % WHOLE_EVERY == 0 or (columns, rows) != size, (columns, rows)
            _write(painter.sent(self._lines(*size), whole=whole))
            count += 1
            self._live.changed.wait(PERIOD_S)
            self._live.changed.clear()

    def _lines(self, width: int, height: int) -> list[Text]:
        assert self._live is not None
        try:
            age = self._live.age()
            if age > STALE_S:
                return screen.stale(self._live.old(age), width, height)
            if self._first and not self._begun.is_set() and len(self._first) <= height:
                return screen.plain(self._first, width, height)
            return screen.lines(self._live.picture(), width, height, phone=self._phone)
        except Exception as error:  # noqa: BLE001 - whatever fails, an old picture must not stand there as if new
            return screen.stale((type(error).__name__, str(error)), width, height)

    def _read(self) -> None:
        assert self._live is not None
        try:
            with contextlib.suppress(OSError):  # the terminal has gone
                self._read_keys(self._live)
        finally:
            if not self._over.is_set():
                self._live.changed_input(DeviceChange("keys", lost=True), for_good=True)

    def _read_keys(self, live: LiveScreen) -> None:
        """Take keys until the terminal has no more, or the picture is left."""
        source, rest, decoded = sys.stdin.fileno(), "", codecs.getincrementaldecoder("utf-8")("replace")
        while not self._over.is_set():
            if not select.select([source], [], [], PERIOD_S)[0]:
                rest = ""
                continue
            sent = os.read(source, 256)
            if not sent:
                return
            keys, rest = keys_in(rest + decoded.decode(sent))
            if self._first and keys and not self._begun.is_set():
                self._begun.set()
                continue
            for key in keys:
                live.press(key)


def _write(text: str) -> None:
    data = text.encode()
    with contextlib.suppress(OSError):  # a closed window: the signal that comes with it ends the visit
        while data:
            data = data[os.write(sys.stdout.fileno(), data) :]


@contextlib.contextmanager
def _single_keys(source: int) -> Iterator[None]:
    """Let keys come one by one and unseen; Ctrl-C still interrupts, Ctrl-Z no longer leaves what runs alone."""
    before = termios.tcgetattr(source)
    mode: list[Any] = termios.tcgetattr(source)
    mode[3] &= ~(termios.ICANON | termios.ECHO)
    mode[6] = list(mode[6])
    mode[6][termios.VMIN], mode[6][termios.VTIME] = 1, 0
    mode[6][termios.VSUSP] = b"\x00"
    termios.tcsetattr(source, termios.TCSAFLUSH, mode)
    try:
        yield
    finally:
        with contextlib.suppress(termios.error):  # a window that was closed has nothing to give back
            termios.tcsetattr(source, termios.TCSAFLUSH, before)


@contextlib.contextmanager
def _stopped_by_signals() -> Iterator[None]:
    """Let a closed window or a polite kill end the visit as Ctrl-C does: left open, terminal given back."""
    before: dict[signal.Signals, Callable[..., Any] | int | None] = {}
    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGHUP):
            before[number] = signal.signal(number, signal.default_int_handler)
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


@contextlib.contextmanager
def _errors_kept() -> Iterator[None]:
    """Keep what anybody writes to the standard error stream off the picture, and write it when it is gone."""
    sys.stderr.flush()
    own = os.dup(2)
    with tempfile.TemporaryFile() as kept:
        os.dup2(kept.fileno(), 2)
        try:
            yield
        finally:
            sys.stderr.flush()
            os.dup2(own, 2)
            os.close(own)
            kept.seek(0)
            left = kept.read().decode("utf-8", "replace")
            if left.strip():
                sys.stderr.write(left)
