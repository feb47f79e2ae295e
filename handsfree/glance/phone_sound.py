"""A phone as the visit's microphone and loudspeaker, seen from the visit."""

from __future__ import annotations

import queue
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from handsfree.hearing.phone_microphone import PhoneMicrophone
from handsfree.speaking.sound import Samples, Sound

HEARING_RATE = 16_000
LINK_LOST_S = 10.0
"""Without sound for so long the link to the technician is lost (common practice, no source)."""
LATE_S = 4.0
"""A prompt whose end the phone has not told so long after it must have ended counts as ended."""
BUFFER = 400_000
"""Bytes of frames that may wait for a recogniser that starts anew."""


@dataclass(frozen=True)
class Play:
    """The phone is to play samples, in place of what it plays."""

    number: int
    rate: int
    pcm: bytes


@dataclass(frozen=True)
class Cut:
    """The phone is to fall silent."""


@dataclass(frozen=True)
class SoundChanged:
    """A phone has opened the link or lost it, or says what has become of its microphone."""

    connected: bool
    says: str


@dataclass(frozen=True)
class Played:
    """The phone has played a prompt to its end, or had to stop it."""

    number: int


class PhoneSound:
    """The link; `microphone` is what the recogniser listens to. It plays as the loudspeaker does.

    `on_change` is told, from other threads, when the phone begins to speak, with the samples at 16 kHz, and when
    it falls silent, with None.
    """

    def __init__(self) -> None:
        self.theirs, mine = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
        """The end of the frames' wire that the page's process writes to."""
        mine.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER)
        self.theirs.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, BUFFER)
        self.microphone = PhoneMicrophone(mine)
        self.wishes: queue.Queue[Play | Cut | None] = queue.Queue()
        """What the page's process is still to be told; None at the end."""
        self.connected = threading.Event()
        self.on_change: Callable[[bool, Samples | None], None] = lambda _speaking, _samples: None
        self._silent, self._number, self._until = threading.Event(), 0, 0.0
        self._silent.set()
        self._lock = threading.RLock()
        self._frames, self._came_at = 0, 0.0

    @property
    def speaking(self) -> bool:
        """Whether the tool can be heard now."""
        if not self._silent.is_set() and time.monotonic() > self._until:
            self._fall_silent()
        return not self._silent.is_set()

    def play(self, sound: Sound) -> None:
        """Begin to play, in place of what is playing; nothing without a phone: the words are on the screen."""
        with self._lock:
            if not self.connected.is_set():
                return
            self._number += 1
            self._until = time.monotonic() + sound.duration_s + LATE_S
            self._silent.clear()
            self.wishes.put(Play(self._number, sound.rate, sound.samples.astype("<i2").tobytes()))
            self.on_change(True, sound.at_rate(HEARING_RATE).samples)

    def cut(self) -> None:
        """Fall silent at once."""
        self.wishes.put(Cut())

    def wait(self, patience_s: float) -> bool:
        """Wait until the tool is silent; return whether that was in time."""
        until = time.monotonic() + patience_s
        while self.speaking and time.monotonic() < until:
            time.sleep(0.02)
        return not self.speaking

    def close(self) -> None:
        """Give the wire back."""
        self._fall_silent()
        self.theirs.close()
        self.microphone.wire.close()

    def heard(self, message: SoundChanged | Played) -> None:
        """Take in what the page's process tells."""
        with self._lock:
            if isinstance(message, Played):
                if message.number == self._number:
                    self._fall_silent()
            elif message.connected:
                self.connected.set()
            else:
                self.lost()

    def lost(self) -> None:
        """Take in that no phone has the link."""
        self.connected.clear()
        self._fall_silent()

    def came(self, frames: int) -> None:
        """Take in how many frames the page's process has had so far; a new process begins at 0."""
        if frames != self._frames:
            self._frames = frames
            if frames:
                self._came_at = time.monotonic()

    @property
    def silent_s(self) -> float:
        """For how long no sound has come, in seconds; 0 before the first."""
        return time.monotonic() - self._came_at if self._came_at else 0.0

    def _fall_silent(self) -> None:
        with self._lock:
            if not self._silent.is_set():
                self._silent.set()
                self.on_change(False, None)
