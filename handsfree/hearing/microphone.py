"""The microphone: a callback that never waits, a bounded queue, a watch for the silence of a pulled plug."""

from __future__ import annotations

import queue
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from handsfree import sound_card
from handsfree.hearing.resampling import RATE, Resampler
from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundBlock
from handsfree.problem import Problem

LOST_AFTER_S = 1.0
"""A microphone that is pulled out gives no error: the blocks just stop."""
FIRST_AFTER_S = 5.0
"""Opening a stream can take some seconds until its first block."""
_QUEUED_BLOCKS = 500


class MicrophoneLost(Exception):  # noqa: N818 - it is an event to act on
    """No sound has come for a second; only a fresh process can find the microphone again."""


@dataclass(frozen=True)
class Microphone:
    """A microphone by its name, or an unambiguous part of it; None means the system's default."""

    device: str | None = None
    lost_after_s: float = LOST_AFTER_S

    @property
    def name(self) -> str:
        """The device's name as it was asked for."""
        return self.device or "default microphone"

    @property
    def live(self) -> bool:
        """The world does not wait."""
        return True

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield what is heard, for ever.

        Raises Problem when there is no PortAudio or no such microphone, MicrophoneLost when it falls
        silent for good.
        """
        card = sound_card.library()
        found = sound_card.device(self.device, "input")
        arrivals = _Arrivals()
        stream, rate = _open_input(card, found, arrivals)
        with stream:
            yield from _cut_live(arrivals, Resampler(rate), from_ms, self.lost_after_s)


@dataclass
class _Arrivals:
    """What the sound card's thread leaves for ours: never a wait, never a lock held for long."""

    waiting: queue.Queue[tuple[bytes, float, int]] = field(default_factory=lambda: queue.Queue(_QUEUED_BLOCKS))
    lost_frames: int = 0
    lost: bool = False

    def take(self, data: Any, frames: int, _moment: Any, status: Any) -> None:
        """Be the callback: copy, count, return."""
        self.lost = self.lost or bool(status.input_overflow)
        try:
            self.waiting.put_nowait((bytes(data), time.monotonic(), self.lost_frames if self.lost else -1))
        except queue.Full:
            self.lost_frames += frames
            self.lost = True
        else:
            self.lost_frames, self.lost = 0, False


def _open_input(card: Any, found: sound_card.SoundDevice, arrivals: _Arrivals) -> tuple[Any, int]:
    """Open at 16 kHz where the device can, else at the rate it prefers."""
    fault: Exception | None = None
    for rate in (RATE, found.rate):
        try:
            stream = card.RawInputStream(
                samplerate=rate,
                blocksize=rate * BLOCK_MS // 1000,
                device=found.number,
                channels=1,
                dtype="int16",
                latency="high",
                callback=arrivals.take,
            )
        except card.PortAudioError as refused:
            fault = refused
        else:
            return stream, rate
    raise Problem(
        f'the microphone "{found.name}" cannot be opened', remedy="close other programs that use it"
    ) from fault


def _cut_live(
    arrivals: _Arrivals, resampler: Resampler, from_ms: int, lost_after_s: float
) -> Iterator[SoundBlock]:
    waiting = np.zeros(0, np.int16)
    start_ms, overflow = from_ms, False
    patience_s = max(FIRST_AFTER_S, lost_after_s)
    while True:
        try:
            data, arrived, lost_frames = arrivals.waiting.get(timeout=patience_s)
        except queue.Empty:
            raise MicrophoneLost(f"no sound has come for {patience_s:g} s") from None
        patience_s = lost_after_s
        if lost_frames >= 0:
            # The clock of the source goes on over what was lost.
            overflow = True
            start_ms += round(lost_frames * resampler.period_ms / BLOCK_MS) * BLOCK_MS
        fresh = resampler.feed((np.frombuffer(data, np.int16) / 32768).astype(np.float32))
        waiting = np.concatenate([waiting, fresh])
        while len(waiting) >= BLOCK:
            yield SoundBlock(waiting[:BLOCK], start_ms, arrived, overflow)
            waiting, overflow = waiting[BLOCK:], False
            start_ms += BLOCK_MS
