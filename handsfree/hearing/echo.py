"""Taking the tool's own voice out of what the microphone hears: what was played is known to the sample.

The way from loudspeaker to microphone is found by least squares (the equations of Wiener and Hopf, solved by
Levinson's recursion) over all that was heard since the voice began. So nothing adapts to the wrong thing, and
a person who speaks meanwhile disturbs little: their speech does not depend on what is played.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsfree.hearing.resampling import RATE

Wave = NDArray[np.float64]

EARLIEST_MS, LATEST_MS = -200, 800
"""When the voice may arrive, against the moment at which it was told to begin: both sound cards hold some back."""
ROOM_MS = 120
"""How long the room's answer is taken to be: a closet is small, and what comes later is weak."""
BEFORE_MS = 24
"""The room's answer begins at most so much before its strongest part."""
SOUND_PER_TAP = 6
"""Samples of sound for each unknown of the room's answer; with fewer, the person's speech would be fitted away."""
SOFTENING = 1e-3
"""White noise added (as a share of the power), where speech leaves the equations without substance."""
FORGETTING = 0.85
"""What was learned counts so much less after each piece (0.2 s): the two sound cards' clocks drift apart."""
SAME_MS = 3
FOUND_BY_MS = 3_000
"""By then the delay is taken as found, though two looks may not have agreed."""


class OwnVoice:
    """What the tool is saying (16 kHz), and how it comes back to the microphone as far as that is known.

    Give it every piece of sound from the moment at which the voice began, with `follow`.
    """

    def __init__(self, played: Wave) -> None:
        self.played = played
        self.delay = 0
        """How many samples later than it was played the voice is heard."""
        self._found = False
        self._heard: Wave = np.zeros(0)
        self._taps = ROOM_MS * RATE // 1000
        self._own, self._both = np.zeros(self._taps), np.zeros(self._taps)

    @property
    def heard_ms(self) -> int:
        """How much sound has been followed."""
        return len(self._heard) * 1000 // RATE

    def follow(self, piece: Wave) -> None:
        """Take the next piece of what the microphone heard, and learn the way from it."""
        known = len(self._heard)
        self._heard = np.concatenate([self._heard, piece])
        if not self._found:
            before, self.delay = self.delay, delay_of(self._heard, self.played)
            agree = abs(self.delay - before) <= SAME_MS * RATE // 1000
            self._found = (agree and known > 0) or self.heard_ms >= FOUND_BY_MS
            self._own, self._both, known = np.zeros(self._taps), np.zeros(self._taps), 0
        sent = self._sent(known - self._taps + 1, len(self._heard))
        own, both = _agreements(sent, self._heard[known:], self._taps)
        self._own = FORGETTING * self._own + own
        self._both = FORGETTING * self._both + both

    def cleaned(self, length: int) -> Wave:
        """Return the last so many samples without the tool's voice."""
        from scipy.linalg import solve_toeplitz  # noqa: PLC0415 - half a second, only where it is needed

        heard = self._heard[-length:]
        taps = min(self._taps, len(self._heard) // SOUND_PER_TAP)
        if not taps or self._own[0] <= 0.0:
            return heard
        equations = self._own[:taps].copy()
        equations[0] *= 1 + SOFTENING
        answer = solve_toeplitz(equations, self._both[:taps])
        begin = len(self._heard) - len(heard)
        sent = self._sent(begin - taps + 1, len(self._heard))
        size = _size(len(sent) + taps)
        echo = np.fft.irfft(np.fft.rfft(sent, size) * np.fft.rfft(answer, size), size)
        cleaned: Wave = heard - echo[taps - 1 : taps - 1 + len(heard)]
        return cleaned

    def _sent(self, begin: int, end: int) -> Wave:
        """Return what was to arrive from one sample to another of what was heard."""
        late = self.delay - BEFORE_MS * RATE // 1000
        return _part(self.played, begin - late, end - late)


def delay_of(heard: Wave, played: Wave) -> int:
    """Return by how many samples what was heard is later than what was played: where both agree best."""
    size = _size(len(heard) + len(played))
    cross = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(played, size))
    # Half whitened: speech is so low in pitch that its plain agreement has no sharp peak.
    cross /= np.sqrt(np.abs(cross)) + 1e-9 * np.abs(cross).max(initial=1.0)
    agreement = np.abs(np.fft.irfft(cross, size))
    first, last = EARLIEST_MS * RATE // 1000, LATEST_MS * RATE // 1000
    lags = np.arange(max(first, 1 - len(played)), min(last, len(heard) - 1) + 1)
    return int(lags[np.argmax(agreement[lags])])


def _agreements(sent: Wave, heard: Wave, taps: int) -> tuple[Wave, Wave]:
    """Return how what was sent agrees with itself and with what was heard, at each lag of the room's answer.

    `sent` begins `taps` - 1 samples before `heard`.
    """
    size = _size(len(sent) + taps)
    spectrum = np.fft.rfft(sent, size)
    lately = np.fft.rfft(sent[taps - 1 :], size)
    # Lag k pairs a sample with the one k before it, which stands taps - 1 - k after the beginning.
    order = np.arange(taps - 1, -1, -1)
    own = np.fft.irfft(spectrum * np.conj(lately), size)[order]
    both = np.fft.irfft(spectrum * np.conj(np.fft.rfft(heard, size)), size)[order]
    return own, both


def _part(wave: Wave, begin: int, end: int) -> Wave:
    """Return a part of a wave, silence before its beginning and after its end."""
    part = np.zeros(end - begin)
    first, last = max(0, begin), min(len(wave), end)
    if first < last:
        part[first - begin : last - begin] = wave[first:last]
    return part


def _size(least: int) -> int:
    from scipy.fft import next_fast_len  # noqa: PLC0415 - see above

    return int(next_fast_len(least, real=True))
