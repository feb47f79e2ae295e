"""What a clip is, by its samples alone: silence, a tone, a copy of another clip.

Clips are int16 at 16 kHz. The thresholds were set on recordings of people and on the tool's own sounds; the tests
hold both sides of each.
"""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from handsfree.hearing.resampling import RATE, Resampler, Samples
from handsfree.ledger.kinds import is_digest
from handsfree.regular_files import open_regular

Wave = NDArray[np.float64]

LARGEST_FILE = 4 << 20
LONGEST_S = 60
"""An utterance is cut after a quarter of it."""

QUIET_DB = -60.0
"""Loudest 20 ms, in dB of full scale: any microphone's own noise in a closet is above it."""
LINES, LINE_HZ, TONAL = 6, 8.0, 0.75
"""A tone has so much of its energy within a few hertz of so few spectral lines."""
FRAME, HOP, LEAST_PAIRS = 1_024, 512, 4
STEADY_HZ, STEADY = 2.0, 0.8
"""From 32 ms to the next its strongest line stays where it is in so many cases; a voice glides.

Of 1,300 recordings of people none had both; the tool's two tones and a whistle have, in noise 10 dB below too.
"""

COMPARED_HZ = 8_000
BAND_HZ = (250.0, 3_600.0)
"""Below it lie hum and burner roar, which any two clips of a visit share."""
SAME_TAPS, ROOM_TAPS = 4, 160
"""A copy may be filtered a little; a voice goes through a loudspeaker and 20 ms of room."""
COPIED, OWN = 0.93, 0.6
"""The share of a clip's energy that another one explains: of a copy, and of the tool's own voice in a room.

One person's calls of one digit explained each other to 0.87 at most (700 pairs), a copy in noise 20 dB below to
0.98 at least.
"""
_SOFTENING = 1e-3


def clip_of(folder: Path, name: str) -> Samples | None:
    """Return the sound of a clip beside the record; None when it is not there or is not what its name says."""
    if not is_digest(name):
        return None
    try:
        with open_regular(folder / "sound" / f"{name}.flac") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except OSError:
        return None
    if len(data) > LARGEST_FILE or hashlib.sha256(data).hexdigest() != name:
        return None
    return _samples(data)


def _samples(data: bytes) -> Samples | None:
    import soundfile  # noqa: PLC0415 - loads a native library

    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            if file.frames > LONGEST_S * file.samplerate or not 6_000 <= file.samplerate <= 384_000:
                return None
            wave = file.read(dtype="float32", always_2d=True).mean(axis=1)
            resampler = Resampler(file.samplerate)
            samples: Samples = np.concatenate([resampler.feed(wave), resampler.rest()])
    except (soundfile.SoundFileError, TypeError, OSError, ValueError):
        return None
    return samples if samples.size else None


def is_silence(samples: Samples) -> bool:
    """Say whether nothing at all is in a clip, not even a microphone's noise."""
    block = RATE // 50
    wave = np.pad(samples.astype(np.float64), (0, -len(samples) % block)).reshape(-1, block)
    loudest = float(np.sqrt((wave**2).mean(axis=1)).max())
    return bool(20 * np.log10(max(loudest, 1e-3) / 32_768) < QUIET_DB)


def is_tone(samples: Samples) -> bool:
    """Say whether a clip is a few steady tones: an alarm, a whistle, a signal generator."""
    wave = samples.astype(np.float64) - samples.mean()
    return _in_lines(wave) >= TONAL and _steady(wave) >= STEADY


def _in_lines(wave: Wave) -> float:
    """Return the share of the energy that lies in a few spectral lines."""
    size = max(len(wave), RATE)
    power = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), size)) ** 2
    total = float(power.sum())
    if total <= 0:
        return 0.0
    reach = max(1, round(LINE_HZ * size / RATE), round(2 * size / len(wave)))  # a short clip's lines are broad
    held = 0.0
    for _ in range(LINES):
        line = int(power.argmax())
        near = slice(max(0, line - reach), line + reach + 1)
        held += float(power[near].sum())
        power[near] = 0.0
    return held / total


def _steady(wave: Wave) -> float:
    """Return how often the strongest line stays where it is from one loud moment to the next."""
    wave = np.pad(wave, (0, max(0, FRAME - len(wave))))
    frames = np.lib.stride_tricks.sliding_window_view(wave, FRAME)[::HOP] * np.hanning(FRAME)
    power = np.abs(np.fft.rfft(frames, axis=1)) ** 2 + 1e-9
    energy = power.sum(axis=1)
    loud = energy > energy.max() / 10
    line = power[:, 1:-1].argmax(axis=1) + 1
    below, at, above = (np.log(power[np.arange(len(line)), line + step]) for step in (-1, 0, 1))
    curve = below - 2 * at + above
    hertz = (line + 0.5 * (below - above) / np.where(curve == 0, 1.0, curve)) * RATE / FRAME
    pairs = loud[1:] & loud[:-1]
    return float((np.abs(np.diff(hertz))[pairs] < STEADY_HZ).mean()) if pairs.sum() >= LEAST_PAIRS else 0.0


def compared(samples: Samples) -> Wave:
    """Return a clip as two are compared: the band of speech, 8 kHz."""
    wave = samples.astype(np.float64)
    size = len(wave) + len(wave) % 2
    spectrum = np.fft.rfft(wave, size)
    hertz = np.fft.rfftfreq(size, 1 / RATE)
    spectrum[(hertz < BAND_HZ[0]) | (hertz > BAND_HZ[1])] = 0
    return np.fft.irfft(spectrum, size)[:: RATE // COMPARED_HZ]


def explained(heard: Wave, known: Wave, taps: int) -> float:
    """Return the share (0 to 1) of a clip's energy that another sound explains, moved in time and filtered.

    The filter has `taps` coefficients and is the best in the sense of least squares (Wiener and Hopf).
    """
    from scipy.linalg import solve_toeplitz  # noqa: PLC0415 - half a second, only where it is needed

    energy = float((heard**2).sum())
    if energy <= 0 or len(heard) < 4 * taps or not known.any():
        return 0.0
    late = _delay(heard, known) - taps // 4
    sent = _shifted(known, late, len(heard))
    size = 1 << (2 * len(heard) - 1).bit_length()
    spectrum = np.fft.rfft(sent, size)
    own = np.fft.irfft(np.abs(spectrum) ** 2, size)[:taps]
    both = np.fft.irfft(np.conj(spectrum) * np.fft.rfft(heard, size), size)[:taps]
    if own[0] <= 0:
        return 0.0
    equations = own.copy()
    equations[0] *= 1 + _SOFTENING
    answer = solve_toeplitz(equations, both)
    return float(min(1.0, max(0.0, answer @ both / energy)))


def _delay(heard: Wave, known: Wave) -> int:
    """Return by how many samples a sound is heard later than it is known: where both agree best."""
    size = 1 << (len(heard) + len(known) - 1).bit_length()
    cross = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(known, size))
    cross /= np.sqrt(np.abs(cross)) + 1e-9 * np.abs(cross).max(initial=1.0)  # half whitened: a sharper peak
    agreement = np.abs(np.fft.irfft(cross, size))
    lag = int(agreement.argmax())
    return lag if lag < len(heard) else lag - size


def _shifted(wave: Wave, late: int, length: int) -> Wave:
    """Return so many samples of a wave that begins so much later."""
    moved = np.zeros(length)
    begin, end = max(0, late), min(length, late + len(wave))
    if begin < end:
        moved[begin:end] = wave[begin - late : end - late]
    return moved
