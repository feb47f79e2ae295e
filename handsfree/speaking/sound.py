"""A piece of sound to be played: what the voice renders and the tones compute."""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class Sound:
    """Mono samples (int16) at `rate` Hz."""

    samples: Samples
    rate: int

    @property
    def duration_s(self) -> float:
        """How long it lasts, in seconds."""
        return len(self.samples) / self.rate

    def at_rate(self, rate: int) -> Sound:
        """Return the same sound at another rate (polyphase filtering)."""
        if rate == self.rate:
            return self
        from scipy.signal import resample_poly  # noqa: PLC0415 - half a second, only where it is needed

        common = gcd(rate, self.rate)
        wave = resample_poly(self.samples.astype(np.float32), rate // common, self.rate // common)
        return Sound(np.clip(np.rint(wave), -32768, 32767).astype(np.int16), rate)

    def after_silence(self, milliseconds: int) -> Sound:
        """Return the sound with silence before it, for outputs that swallow the start while they wake up."""
        lead = np.zeros(self.rate * milliseconds // 1000, np.int16)
        return Sound(np.concatenate([lead, self.samples]), self.rate)

    def trimmed(self, quiet: int = 100, margin_ms: int = 20) -> Sound:
        """Return the sound without the silence at its ends: every pause of ours delays the technician."""
        loud = np.flatnonzero(np.abs(self.samples.astype(np.int32)) > quiet)
        if not len(loud):
            return self
        margin = self.rate * margin_ms // 1000
        return Sound(self.samples[max(0, loud[0] - margin) : loud[-1] + 1 + margin], self.rate)
