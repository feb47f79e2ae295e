"""The loudspeaker in a process of its own: an output that hangs or crashes is replaced, the visit goes on."""

from __future__ import annotations

import importlib
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection

import numpy as np

from handsfree import sound_card
from handsfree.problem import Problem
from handsfree.speaking.player import Player, SoundCardPlayer
from handsfree.speaking.sound import Samples, Sound
from handsfree.supervisor import Supervisor

HEARTBEAT_S = 0.25
HUNG_AFTER_S = 3.0
START_PATIENCE_S = 20.0
FIRST_RETRY_S, LAST_RETRY_S = 1.0, 30.0
"""Between attempts to find a lost output: each starts a process, so they grow rare."""
POLL_S = 0.005
HEARING_RATE = 16_000
"""At which the recogniser is told what is played, in Hz."""


@dataclass(frozen=True)
class _Play:
    number: int
    pcm: bytes
    rate: int


@dataclass(frozen=True)
class _Cut:
    """Fall silent at once."""


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
        self._open_player = open_player
        self._on_change = on_change or (lambda _speaking, _samples: None)
        self._on_trouble = on_trouble or (lambda _sentence: None)
        self._number = 0
        self._silent = threading.Event()
        self._silent.set()
        self._ready = threading.Event()
        self._retry_s = FIRST_RETRY_S
        # It takes half a second, which the first prompt must not wait for.
        threading.Thread(target=importlib.import_module, args=("scipy.signal",), daemon=True).start()
        self._supervisor: Supervisor[_Lost] = Supervisor(
            "handsfree loudspeaker", attend_player, self, start_s=START_PATIENCE_S, hung_after_s=hung_after_s
        )
        self._supervisor.start()
        self._ready.wait(START_PATIENCE_S)

    @property
    def process_id(self) -> int:
        """The number of the process that plays now; 0 between two."""
        return self._supervisor.process_id

    @property
    def speaking(self) -> bool:
        """Whether the tool can be heard now."""
        return not self._silent.is_set()

    def play(self, sound: Sound) -> None:
        """Begin to play, in place of what is playing."""
        with self._supervisor.lock:
            if self._supervisor.process_id == 0 or self.lost:
                return
            self._number += 1
            self._silent.clear()
            self._supervisor.tell(_Play(self._number, sound.samples.tobytes(), sound.rate))
            self._on_change(
                True, sound.at_rate(HEARING_RATE).samples
            )  # long before it has left the output's buffer

    def cut(self) -> None:
        """Fall silent at once."""
        self._supervisor.tell(_Cut())

    def wait(self, patience_s: float) -> bool:
        """Wait until the tool is silent; return whether that was in time."""
        return self._silent.wait(patience_s)

    def close(self) -> None:
        """Give the output back."""
        self._supervisor.close()
        self._fall_silent()

    def arguments(self) -> tuple[object, ...]:
        """Return what a new child is to work with; for the supervisor."""
        return (self._open_player,)

    def told_first(self) -> tuple[object, ...]:
        """Return nothing: what was playing is over; for the supervisor."""
        return ()

    def heard(self, message: _Beat | _Lost) -> _Lost | None:
        """Take in a message of the child; for the supervisor."""
        if isinstance(message, _Lost):
            return message
        self._found()
        with self._supervisor.lock:
            if message.ended == self._number:
                self._fall_silent()
        return None

    def ended(self, why: _Lost | str) -> float | None:
        """Tell that the output is lost, and say when it is looked for again; for the supervisor."""
        with self._supervisor.lock:
            self._fall_silent()
        self._retry_s = min(2 * self._retry_s, LAST_RETRY_S) if self.lost else FIRST_RETRY_S
        self._lose(why.reason if isinstance(why, _Lost) else f"the loudspeaker {why}")
        return self._retry_s

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
    """Run in the child: play what comes, cut it off when told to, tell what has ended."""
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
            if isinstance(wish, _Cut):
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
