"""How well a person's own words explain an utterance: each sentence laid along the whole of it, silence between.

This is matching of connected words by templates, in one pass (H. Ney, IEEE Trans. ASSP 32, 1984): every frame of
the sound is charged to a frame of a word that was read, or of the noise before it, at the least sum. All sentences
pay for the same frames, so their sums compare, wherever words begin. What was read in a quiet room is first made
as loud as the utterance, and its noise is added to it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from handsfree.hearing.resampling import RATE, Samples

Energies = NDArray[np.float32]
"""Mel energies: (frames, 24), a frame every 20 ms."""
Floats = NDArray[np.float64]

BANDS: Final = 24
_FRAME, _SHIFT = 512, 320
_LOW_HZ, _HIGH_HZ = 100.0, 3700.0
"""What a headset's narrow channel lets through: more would compare channels."""
_CEPSTRA: Final = 13
_FLOOR: Final = 100.0
"""Below the faintest noise of a 16-bit microphone."""
_LOUD: Final = 0.9
"""The level of a stretch is that of its frames at this place of their order."""
_NEVER: Final = 1e9


def energies(samples: Samples) -> Energies:
    """Return the mel energies of sound (int16, 16 kHz); one frame at least."""
    wave = np.asarray(samples, np.float64)
    wave = np.pad(wave, (0, max(0, _FRAME - len(wave))))
    frames = np.lib.stride_tricks.sliding_window_view(wave, _FRAME)[::_SHIFT]
    frames = frames - frames.mean(axis=1, keepdims=True)
    emphasised = np.concatenate([frames[:, :1], frames[:, 1:] - 0.97 * frames[:, :-1]], axis=1)
    power = np.abs(np.fft.rfft(emphasised * _WINDOW)) ** 2
    return np.asarray(power @ _BANK, np.float32)


def frame_at(place_ms: float) -> int:
    """Return the number of the frame at a time in the sound."""
    return max(0, round(place_ms * RATE / 1000 / _SHIFT))


def loudness(of: Energies) -> float:
    """Return the energy of a frame of the louder part."""
    return float(np.quantile(of.sum(axis=1), _LOUD))


def features(of: Energies) -> Floats:
    """Return what is compared: (frames, 26): cepstra with the level, and how they move."""
    cepstra = np.log(np.asarray(of, np.float64) + _FLOOR) @ _COSINES
    padded = np.pad(cepstra, ((1, 1), (0, 0)), mode="edge")
    return np.hstack([cepstra, padded[2:] - padded[:-2]])


def as_heard(word: Energies, level: float, noise: Floats) -> Energies:
    """Return a word of the enrolment as it would be at a level (energy of a loud frame) in noise (24 energies)."""
    return np.asarray(word * (level / max(_FLOOR, loudness(word))) + noise, np.float32)


def sums(
    sound: Floats, noise: Floats, words: Mapping[str, Sequence[Floats]], sentences: Sequence[Sequence[str]]
) -> Floats:
    """Return how far each sentence of known words lies from the whole sound, (sentences,).

    `sound`, each way in which a word was said, and `noise`, frames without a voice, are features.
    """
    ways = [(word, way) for word, said in words.items() for way in said]
    known = np.concatenate([way for _, way in ways])
    apart = np.hstack([_distances(sound, known), _distances(sound, noise).min(axis=1, keepdims=True)])
    begins = np.cumsum([0, *(len(way) for _, way in ways)])
    blocks = {
        word: [(int(begins[n]), len(way)) for n, (name, way) in enumerate(ways) if name == word] for word in words
    }
    return _Lattice(blocks, sentences, len(known)).walked(apart)


def _distances(sound: Floats, known: Floats) -> Floats:
    squares = (sound**2).sum(axis=1)[:, None] + (known**2).sum(axis=1)[None]
    return np.asarray(np.sqrt(np.maximum(0.0, squares - 2 * sound @ known.T)))


class _Lattice:
    """The states of all sentences side by side: the frames of each way to say each word, and silences between.

    State 0 is never reached. A word is entered from the silence before it, or from the end of the word before.
    """

    def __init__(
        self, blocks: Mapping[str, Sequence[tuple[int, int]]], sentences: Sequence[Sequence[str]], silence: int
    ) -> None:
        column, before, entered = [silence], [0], [-1]
        lasts: list[int] = []
        self._starts: list[int] = []
        self._firsts: list[int] = []
        self._previous: list[int] = []
        silences: list[int] = []
        self._ends: list[tuple[int, int]] = []
        word = 0
        for sentence in sentences:
            for place, name in enumerate(sentence):
                self._firsts.append(0 if place else 1)
                self._previous.append(word - 1 if place else -1)
                silences.append(len(column))
                column.append(silence)
                before.append(0)
                entered.append(-1)
                self._starts.append(len(lasts))
                for begin, length in blocks[name]:
                    state = len(column)
                    column += range(begin, begin + length)
                    before += [0, *range(state, state + length - 1)]
                    entered += [word] + [-1] * (length - 1)
                    lasts.append(len(column) - 1)
                word += 1
            self._ends.append((len(column), word - 1))
            column.append(silence)
            before.append(0)
            entered.append(-1)
        self._column, self._before = np.array(column), np.array(before)
        self._skipped = self._before[self._before]
        self._entries = np.flatnonzero(np.array(entered) >= 0)
        self._entered = np.array(entered)[self._entries]
        self._lasts, self._silences = np.array(lasts), np.array(silences)

    def walked(self, apart: Floats) -> Floats:
        """Return the least sum of each sentence over all frames."""
        firsts, previous = np.array(self._firsts, bool), np.array(self._previous)
        final = np.array([state for state, _ in self._ends])
        last_word = np.array([word for _, word in self._ends])
        cost = np.full(len(self._column), _NEVER)
        cost[self._silences[firsts]] = 0.0
        ended = np.full(len(previous), _NEVER)
        for frame in apart:
            come = np.where(previous >= 0, ended[previous], _NEVER)
            entry = np.minimum(cost[self._silences], come)
            best = np.minimum(np.minimum(cost, cost[self._before]), cost[self._skipped])
            best[self._entries] = np.minimum(best[self._entries], entry[self._entered])
            best[self._silences] = entry
            best[final] = np.minimum(cost[final], ended[last_word])
            cost = best + frame[self._column]
            cost[0] = _NEVER
            ended = np.minimum.reduceat(cost[self._lasts], self._starts)
        return np.asarray(np.minimum(cost[final], ended[last_word]))


def _bank() -> Floats:
    mel = 1127.0 * np.log1p(np.arange(_FRAME // 2 + 1) * RATE / _FRAME / 700.0)
    edges = np.linspace(1127.0 * np.log1p(_LOW_HZ / 700.0), 1127.0 * np.log1p(_HIGH_HZ / 700.0), BANDS + 2)
    rising = (mel[:, None] - edges[None, :-2]) / (edges[1:-1] - edges[:-2])
    falling = (edges[None, 2:] - mel[:, None]) / (edges[2:] - edges[1:-1])
    return np.asarray(np.maximum(0.0, np.minimum(rising, falling)))


_BANK: Final = _bank()
_WINDOW: Final = np.hanning(_FRAME) ** 0.85
_COSINES: Final = np.sqrt(2 / BANDS) * np.cos(
    np.pi / BANDS * (np.arange(BANDS)[:, None] + 0.5) * np.arange(_CEPSTRA)[None]
)
