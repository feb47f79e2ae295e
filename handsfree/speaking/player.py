"""Playing sound so that it can be cut off within one block, and the recogniser knows when the tool speaks."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from handsfree import sound_card
from handsfree.problem import Problem
from handsfree.speaking.sound import Samples, Sound

BLOCK_MS = 10
LATENCY_S = 0.04
"""Asked of the output: what is already in its buffer cannot be cut off any more."""
LEAD_IN_MS = 250
"""Silence played first after the output was opened: many outputs swallow the start while they wake up."""
LOST_AFTER_S = 1.0
_NOTHING: Samples = np.zeros(0, np.int16)


class Player(Protocol):
    """Something that plays one sound at a time."""

    @property
    def speaking(self) -> bool:
        """Whether the tool can be heard now."""

    @property
    def lost(self) -> bool:
        """Whether the output has stopped taking sound."""

    def play(self, sound: Sound) -> None:
        """Begin to play, in place of what is playing."""

    def cut(self) -> None:
        """Fall silent at once."""

    def wait(self, patience_s: float) -> bool:
        """Wait for the end; return whether it came in time."""

    def close(self) -> None:
        """Give the output back."""


@dataclass(eq=False)
class _Playing:
    """One sound on its way out, replaced as a whole, so that the sound card's thread never sees halves."""

    samples: Samples
    position: int = 0
    silent_from: float | None = None


class SoundCardPlayer:
    """Plays through a loudspeaker chosen by name, None for the default; raises Problem when there is none.

    The output runs all the time, silent between sounds, so that each begins at once.
    """

    def __init__(self, device: str | None = None) -> None:
        card = sound_card.library()
        found = sound_card.device(device, "output")
        self._rate = found.rate
        self._playing = _Playing(_NOTHING, silent_from=0.0)
        self._called = time.monotonic()
        self._fresh = True
        self.latency_s = LATENCY_S
        """What the output says it still holds of what it was given, in seconds."""
        try:
            self._stream = card.RawOutputStream(
                samplerate=self._rate,
                blocksize=self._rate * BLOCK_MS // 1000,
                device=found.number,
                channels=1,
                dtype="int16",
                latency=LATENCY_S,
                callback=self._fill,
            )
            self._stream.start()
        except card.PortAudioError as fault:
            raise Problem(
                f'the loudspeaker "{found.name}" cannot be opened', remedy="close other programs that use it"
            ) from fault
        self.latency_s = float(self._stream.latency)

    @property
    def speaking(self) -> bool:
        """Whether sound is playing, or still on its way out of the output's buffer."""
        silent_from = self._playing.silent_from
        return not self.lost and (silent_from is None or time.monotonic() < silent_from)

    @property
    def lost(self) -> bool:
        """Whether the output has asked for nothing for a second: it was pulled out."""
        return time.monotonic() - self._called > LOST_AFTER_S

    def play(self, sound: Sound) -> None:
        """Begin to play, in place of what is playing."""
        ready = sound.at_rate(self._rate)
        if self._fresh:
            ready, self._fresh = ready.after_silence(LEAD_IN_MS), False
        self._playing = _Playing(ready.samples)

    def cut(self) -> None:
        """Fall silent with the next block."""
        self._playing = _Playing(_NOTHING)

    def wait(self, patience_s: float) -> bool:
        """Wait until the sound has left the loudspeaker; return whether that was in time."""
        until = time.monotonic() + patience_s
        while self.speaking and time.monotonic() < until:
            time.sleep(BLOCK_MS / 1000)
        return not self.speaking

    def close(self) -> None:
        """Give the output back."""
        self._stream.close()

    def _fill(self, out: Any, frames: int, _moment: Any, _status: Any) -> None:
        """Be the callback: copy the next block, then silence; never wait."""
        self._called = time.monotonic()
        playing = self._playing
        block = playing.samples[playing.position : playing.position + frames]
        playing.position += frames
        out[: 2 * len(block)] = block.tobytes()
        out[2 * len(block) :] = bytes(2 * (frames - len(block)))
        if len(block) < frames and playing.silent_from is None:
            playing.silent_from = self._called + self.latency_s
