"""The loudspeaker in a process of its own: an output that hangs or crashes is replaced, the visit goes on."""

from __future__ import annotations

import contextlib
import importlib
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any

import numpy as np

from handsfree import sound_card
from handsfree.child import Child, ChildDied
from handsfree.problem import Problem
from handsfree.speaking.player import Player, SoundCardPlayer
from handsfree.speaking.sound import Samples, Sound

HEARTBEAT_S = 0.25
HUNG_AFTER_S = 3.0
START_PATIENCE_S = 20.0
FIRST_RETRY_S, LAST_RETRY_S = 1.0, 30.0
"""Between attempts to find a lost output: each starts a process, so they grow rare."""
POLL_S = 0.005
EARS_RATE = 16_000
"""At which the ears are told what is played, in Hz."""


@dataclass(frozen=True)
class _Play:
    number: int
    pcm: bytes
    rate: int


@dataclass(frozen=True)
class _Beat:
    """The child lives; `ended` is the number of the last sound that has left the loudspeaker."""

    ended: int


@dataclass(frozen=True)
class _Lost:
    reason: str


class Loudspeaker:
    """A player behind a process; plays one sound at a time and can be cut off at once.

    `on_change` is told, from another thread, when the tool becomes audible, with the samples at `EARS_RATE`,
    and when it falls silent, with None (it must not call back); `on_trouble` gets a sentence when the output
    is lost and None when it is back.
    While the output is lost `play` makes no sound and does not wait: the words are on the screen.
    """

    def __init__(
        self,
        open_player: Callable[[], Player] = SoundCardPlayer,
        *,
        on_change: Callable[[bool, Samples | None], None] | None = None,
        on_trouble: Callable[[str | None], None] | None = None,
        hung_after_s: float = HUNG_AFTER_S,
    ) -> None:
        self.lost = False
        """Whether no output takes sound at the moment."""
        self._open_player, self._hung_after_s = open_player, hung_after_s
        self._on_change = on_change or (lambda _speaking, _samples: None)
        self._on_trouble = on_trouble or (lambda _sentence: None)
        self._lock = threading.Lock()
        self._child: Child | None = None
        self._number = 0
        self._silent = threading.Event()
        self._silent.set()
        self._ready = threading.Event()
        self._closing = threading.Event()
        self._minder = threading.Thread(target=self._mind, name="handsfree loudspeaker", daemon=True)
        self._minder.start()
        self._ready.wait(START_PATIENCE_S)

    @property
    def speaking(self) -> bool:
        """Whether the tool can be heard now."""
        return not self._silent.is_set()

    def play(self, sound: Sound) -> None:
        """Begin to play, in place of what is playing."""
        with self._lock:
            if self._child is None or self.lost:
                return
            self._number += 1
            self._silent.clear()
            with contextlib.suppress(ChildDied):  # the minder notices
                self._child.send(_Play(self._number, sound.samples.tobytes(), sound.rate))
            self._on_change(True, sound.at_rate(EARS_RATE).samples)  # long before it has left the output's buffer

    def cut(self) -> None:
        """Fall silent at once."""
        with self._lock, contextlib.suppress(ChildDied):
            if self._child is not None:
                self._child.send(None)

    def wait(self, patience_s: float) -> bool:
        """Wait until the tool is silent; return whether that was in time."""
        return self._silent.wait(patience_s)

    def close(self) -> None:
        """Give the output back."""
        self._closing.set()
        self._minder.join()

    def _mind(self) -> None:
        # It takes half a second, which the first prompt must not wait for.
        threading.Thread(target=importlib.import_module, args=("scipy.signal",), daemon=True).start()
        retry_s = FIRST_RETRY_S
        while not self._closing.is_set():
            child = Child("handsfree loudspeaker", attend_player, self._open_player)
            with self._lock:
                self._child = child
            try:
                reason = self._watch(child)
            except ChildDied as death:
                reason = str(death)
            child.kill()  # first, for whoever holds the lock may be waiting for it to read
            with self._lock:
                self._child = None
                self._fall_silent()
            child.stop()
            if not self._closing.is_set():
                retry_s = min(2 * retry_s, LAST_RETRY_S) if self.lost else FIRST_RETRY_S
                self._lose(reason)
                self._closing.wait(retry_s)

    def _watch(self, child: Child) -> str:
        heard_of, limit_s = time.monotonic(), START_PATIENCE_S
        while not self._closing.is_set():
            message: Any = child.receive(HEARTBEAT_S / 5)
            now = time.monotonic()
            if isinstance(message, _Lost):
                return message.reason
            if isinstance(message, _Beat):
                heard_of, limit_s = now, self._hung_after_s
                self._found()
                with self._lock:
                    if message.ended == self._number:
                        self._fall_silent()
            elif now - heard_of > limit_s:
                return f"the loudspeaker has hung for {now - heard_of:.0f} s"
        return "closed"

    def _fall_silent(self) -> None:
        if not self._silent.is_set():
            self._silent.set()
            self._on_change(False, None)

    def _lose(self, reason: str) -> None:
        if not self.lost:
            self.lost = True
            self._on_trouble(f"no sound comes out ({reason}), so prompts are text until it does")
        self._ready.set()

    def _found(self) -> None:
        if self.lost:
            self.lost = False
            self._on_trouble(None)
        self._ready.set()


def attend_player(pipe: Connection, open_player: Callable[[], Player]) -> None:
    """Run in the child: play what comes, cut on None, tell what has ended."""
    with sound_card.quiet():
        try:
            player = open_player()
            _play(pipe, player)
        except Problem as problem:
            pipe.send(_Lost(problem.sentence()))


def _play(pipe: Connection, player: Player) -> None:
    current, ended, beaten = 0, 0, 0.0
    while not player.lost:
        if pipe.poll(POLL_S):
            wish = pipe.recv()
            if wish is None:
                player.cut()
            else:
                current = wish.number
                player.play(Sound(np.frombuffer(wish.pcm, np.int16), wish.rate))
        now = time.monotonic()
        if (current != ended and not player.speaking) or now - beaten > HEARTBEAT_S:
            ended = ended if player.speaking else current
            beaten = now
            pipe.send(_Beat(ended))
    pipe.send(_Lost("the loudspeaker takes no sound any more"))
