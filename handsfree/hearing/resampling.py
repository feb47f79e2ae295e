"""Sound of any common rate made 16 kHz piece by piece: an hour needs no more memory than a second."""

from __future__ import annotations

from math import gcd

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
"""The one rate of everything heard, in Hz."""

Wave = NDArray[np.float32]
Samples = NDArray[np.int16]

# scipy.signal.resample_poly's own filter reaches this many output periods to each side (its documentation).
_REACH = 10


class Resampler:
    """Turns pieces of one long mono sound (float, full scale 1.0) at `rate` Hz into int16 at 16 kHz.

    Each piece is filtered together with its surroundings, so the joints leave no trace; the last few
    milliseconds wait for the next piece or `rest`.
    """

    def __init__(self, rate: int) -> None:
        self.period_ms = 1000 / rate
        """The time from one sample of the input to the next."""
        common = gcd(rate, RATE)
        self._up, self._down = RATE // common, rate // common
        reach = -(-_REACH * max(self._up, self._down) // self._up) + 1
        # Whole multiples of `down` keep the output's sampling instants where they belong.
        self._margin = -(-reach // self._down) * self._down
        self._before = np.zeros(self._margin, np.float32)
        self._waiting = np.zeros(0, np.float32)

    def feed(self, piece: Wave) -> Samples:
        """Return what can be said for certain so far; may be empty."""
        if self._up == self._down:
            return _to_int16(piece)
        self._waiting = np.concatenate([self._waiting, piece])
        ready = (len(self._waiting) - self._margin) // self._down * self._down
        return self._convert(ready) if ready > 0 else np.zeros(0, np.int16)

    def rest(self) -> Samples:
        """Return the end of the sound."""
        left = len(self._waiting)
        if not left:
            return np.zeros(0, np.int16)
        padded = -(-left // self._down) * self._down
        self._waiting = np.concatenate([self._waiting, np.zeros(padded - left + self._margin, np.float32)])
        return self._convert(padded)[: -(-left * self._up // self._down)]

    def _convert(self, ready: int) -> Samples:
        from scipy.signal import resample_poly  # noqa: PLC0415 - half a second that 16 kHz sound need not wait

        span = np.concatenate([self._before, self._waiting[: ready + self._margin]])
        wave: Wave = resample_poly(span, self._up, self._down)
        first = self._margin * self._up // self._down
        self._before = span[ready : ready + self._margin]
        self._waiting = self._waiting[ready:]
        return _to_int16(wave[first : first + ready * self._up // self._down])


def _to_int16(wave: Wave) -> Samples:
    # A wave beyond full scale is flattened as a converter would do it; the listener then marks it as clipped.
    samples: Samples = np.clip(np.rint(wave * 32768.0), -32768, 32767).astype(np.int16)
    return samples
