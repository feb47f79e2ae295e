"""The microphone of a phone: numbered frames that the page's process hands over, one a datagram.

A datagram is whole or not there, so a process that dies tears no frame; the socket outlives the processes at both
ends, which come and go.
"""

from __future__ import annotations

import socket
import struct
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundBlock

HEAD = struct.Struct("<II")
"""Before the samples (320, 16 bits, little-endian): the number of the session, of the frame within it."""
FRAME_BYTES = 2 * BLOCK
WAITING_S = 0.25
"""After so long without a frame the source says that none came."""
_NOTHING: Samples = np.zeros(0, np.int16)


@dataclass(frozen=True, eq=False)
class PhoneMicrophone:
    """What a phone hears, as it comes through `wire`: a block for each frame, none twice; a gap is an overflow."""

    wire: socket.socket

    @property
    def name(self) -> str:
        """What to call it in the record."""
        return "phone"

    @property
    def live(self) -> bool:
        """The world does not wait."""
        return True

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield what comes, for ever; while nothing comes, blocks without sound that say for how long."""
        self.wire.settimeout(WAITING_S)
        came_at, next_ms = time.monotonic(), from_ms
        session, expected = -1, 0
        while True:
            frame = self._frame()
            now = time.monotonic()
            if frame is None:
                yield SoundBlock(_NOTHING, next_ms, now, waited_s=now - came_at)
                continue
            number, samples = frame[1], frame[2]
            if frame[0] != session:
                # Another loading of the page: its numbers begin anew, the time of the source goes on.
                next_ms += 0 if session < 0 else round((now - came_at) * 1000 / BLOCK_MS) * BLOCK_MS
                session, expected, gap = frame[0], number, session >= 0
            elif number < expected:
                continue
            else:
                gap = number > expected
            next_ms += (number - expected) * BLOCK_MS
            yield SoundBlock(samples, next_ms, now, overflow=gap)
            came_at, expected, next_ms = now, number + 1, next_ms + BLOCK_MS

    def _frame(self) -> tuple[int, int, Samples] | None:
        """Return session, number and samples of the next frame, or None when none comes in time."""
        try:
            data = self.wire.recv(HEAD.size + FRAME_BYTES + 1)
        except (TimeoutError, BlockingIOError):
            return None
        if len(data) != HEAD.size + FRAME_BYTES:
            return None
        session, number = HEAD.unpack_from(data)
        return session, number, np.frombuffer(data, "<i2", offset=HEAD.size).astype(np.int16)
