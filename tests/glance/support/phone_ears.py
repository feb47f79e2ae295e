"""A phone whose microphone is a sound file, and what of it arrives at the tool."""

from __future__ import annotations

import threading
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, correlate, resample_poly, sosfilt

from handsfree.glance.phone_sound import PhoneSound
from handsfree.hearing.sources import BLOCK_MS, SoundBlock

Samples = NDArray[np.int16]
RATE = 16_000


def fake_microphone(file: Path) -> tuple[str, ...]:
    """Return Chromium's options for a microphone that plays a file once, allowed without a question."""
    return (
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={file}%noloop",
        "--autoplay-policy=no-user-gesture-required",
    )


def noise(seconds: float, rate: int, seed: int = 1) -> Samples:
    """Return noise in the band of speech, 200 to 6,000 Hz, that never repeats."""
    dice = np.random.default_rng(seed)
    wave = sosfilt(
        butter(6, [200, 6_000], "bandpass", fs=rate, output="sos"), dice.normal(0, 1, round(seconds * rate))
    )
    return np.rint(6_000 * wave / np.abs(wave).max() * 3).clip(-32_768, 32_767).astype(np.int16)


def at_16k(samples: Samples, rate: int) -> NDArray[np.float64]:
    """Return the reference: SciPy's polyphase resampling."""
    return np.asarray(resample_poly(samples.astype(float), RATE // 1_000, rate // 1_000))


class Ears:
    """Takes the blocks of a phone in, as the recogniser's process does."""

    def __init__(self, sound: PhoneSound) -> None:
        self.blocks: list[SoundBlock] = []
        self.waits: list[float] = []
        self._source, self._over = sound.microphone, threading.Event()
        self._thread = threading.Thread(target=self._listen)
        self._thread.start()

    def _listen(self) -> None:
        for block in self._source.blocks():
            if self._over.is_set():
                return
            if block.waited_s:
                self.waits.append(block.waited_s)
            else:
                self.blocks.append(block)

    def close(self) -> None:
        self._over.set()
        self._thread.join()

    def until(self, count: int, seconds: float = 30) -> None:
        """Wait for so many blocks."""
        end = time.monotonic() + seconds
        while len(self.blocks) < count and time.monotonic() < end:
            time.sleep(0.05)
        assert len(self.blocks) >= count, (len(self.blocks), self.waits[-3:])

    def sound(self) -> NDArray[np.float64]:
        return np.concatenate([block.samples for block in self.blocks]).astype(float)

    def gaps(self) -> list[int]:
        """Return where time jumps between two blocks, in ms."""
        starts = [block.start_ms for block in self.blocks]
        return [b - a for a, b in pairwise(starts) if b - a != BLOCK_MS]


def lags(found: NDArray[np.float64], sent: NDArray[np.float64], each: int = 4_000) -> list[tuple[int, float]]:
    """Return for each piece of what was found where it lies in what was sent, less where it lies in the find.

    With the correlation of the two, 1 when they are alike but for their size. Where all lags are one number
    nothing is missing, doubled or moved.
    """
    told = []
    for start in range(0, len(found) - each, each):
        piece = found[start : start + each]
        scores = correlate(sent, piece, "valid", "fft")
        place = int(np.argmax(np.abs(scores)))
        beside = sent[place : place + each]
        alike = float(np.dot(beside, piece) / (np.linalg.norm(beside) * np.linalg.norm(piece) + 1e-9))
        told.append((place - start, round(alike, 4)))
    return told
