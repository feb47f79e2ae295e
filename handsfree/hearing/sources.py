"""Where sound comes from when it is not a microphone: a sound file, a folder of them, samples at hand.

Every source yields blocks of 20 ms, mono, int16, 16 kHz, each with its time on the source's own clock.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from handsfree.hearing.resampling import RATE, Resampler, Samples, Wave
from handsfree.problem import Problem

BLOCK_MS = 20
BLOCK = RATE * BLOCK_MS // 1000

LONGEST_FILE_S = 12 * 3600
"""A file longer than a working day is no recording of a visit."""
LOWEST_RATE, HIGHEST_RATE = 6_000, 384_000
"""Below the first, speech is not intelligible; above the second, no sound card records."""
_READ_S = 1.0


@dataclass(frozen=True, eq=False)
class SoundBlock:
    """20 ms of sound: 320 samples, the time of the first on the source's clock, and what was lost.

    `arrived` is the computer's monotonic time (s) at which the block was complete; `overflow` says that
    sound just before or within it is missing.
    """

    samples: Samples
    start_ms: int
    arrived: float
    overflow: bool = False
    waited_s: float = 0.0
    """Not 0 in a block without samples: for so long a live source has had nothing; its time stands still."""


class SoundSource(Protocol):
    """Something that yields blocks; it can be sent to another process and begun from a later time there."""

    @property
    def name(self) -> str:
        """What to call it in the record."""

    @property
    def live(self) -> bool:
        """Whether its clock goes on while nobody listens."""

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield the blocks from that time of its clock on."""


@dataclass(frozen=True, eq=False)
class Recording:
    """Samples at hand (int16, 16 kHz), for rehearsed sound; `paced` lets them pass in real time."""

    samples: Samples
    paced: bool = False
    name: str = "recording"

    @property
    def live(self) -> bool:
        """Recorded sound waits."""
        return False

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield the samples in blocks, the last filled up with silence."""
        return _paced(_cut([self.samples[from_ms * RATE // 1000 :]], from_ms), paced=self.paced)


@dataclass(frozen=True)
class SoundFile:
    """A sound file of any rate, format and number of channels that libsndfile reads.

    Raises Problem when it is missing, empty, not sound, damaged, or of an absurd rate or length.
    """

    path: Path
    paced: bool = False

    @property
    def name(self) -> str:
        """The file's name."""
        return self.path.name

    def samples(self) -> Samples:
        """Return the whole file at once."""
        return np.concatenate(list(self._pieces()))

    @property
    def live(self) -> bool:
        """Recorded sound waits."""
        return False

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield the file in blocks, reading as it goes."""
        return _paced(_cut(_without_start(self._pieces(), from_ms * RATE // 1000), from_ms), paced=self.paced)

    def _pieces(self) -> Iterator[Samples]:
        import soundfile  # noqa: PLC0415 - loads a native library

        if not self.path.is_file():
            raise Problem("there is no such sound file", where=str(self.path))
        if not self.path.stat().st_size:
            raise Problem("the sound file is empty", where=str(self.path))
        try:
            with soundfile.SoundFile(self.path) as file:
                _check(file, self.path)
                yield from _mono(file, self.path)
        except (soundfile.SoundFileError, TypeError, OSError) as fault:
            raise Problem("is not a sound file that can be read", where=str(self.path)) from fault


@dataclass(frozen=True)
class SoundFolder:
    """The sound files of a folder in the order of their names, as one sound with pauses between them."""

    path: Path
    paced: bool = False
    pause_ms: int = 1_500

    @property
    def name(self) -> str:
        """The folder's name."""
        return self.path.name

    def files(self) -> tuple[SoundFile, ...]:
        """Return the files in order; raises Problem when there are none."""
        return tuple(SoundFile(each) for each in sound_files(self.path))

    @property
    def live(self) -> bool:
        """Recorded sound waits."""
        return False

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield the files one after the other, each followed by the pause."""
        pieces = _without_start(self._pieces(), from_ms * RATE // 1000)
        return _paced(_cut(pieces, from_ms), paced=self.paced)

    def _pieces(self) -> Iterator[Samples]:
        for file in self.files():
            yield from file._pieces()  # noqa: SLF001 - a folder is made of its files
            yield np.zeros(self.pause_ms * RATE // 1000, np.int16)


def sound_files(folder: Path) -> tuple[Path, ...]:
    """List the sound files of a folder by name; raises Problem when it is no folder or has none."""
    import soundfile  # noqa: PLC0415 - loads a native library

    if not folder.is_dir():
        raise Problem("there is no such folder", where=str(folder))
    endings = {f".{name.lower()}" for name in soundfile.available_formats()} | {".aif", ".oga", ".opus"}
    found = sorted(each for each in folder.iterdir() if each.is_file() and each.suffix.lower() in endings)
    if not found:
        raise Problem("the folder has no sound files", where=str(folder))
    return tuple(found)


def _check(file: Any, path: Path) -> None:
    if not LOWEST_RATE <= file.samplerate <= HIGHEST_RATE:
        raise Problem(
            f"the sound has {file.samplerate} samples a second",
            where=str(path),
            remedy=f"record it with {RATE} or more",
        )
    if file.frames <= 0:
        raise Problem("the sound file is empty", where=str(path))
    if file.frames > LONGEST_FILE_S * file.samplerate:
        hours = file.frames / file.samplerate / 3600
        raise Problem(
            f"the sound claims to last {hours:.0f} hours",
            where=str(path),
            remedy=f"give files of at most {LONGEST_FILE_S // 3600} hours",
        )


def _mono(file: Any, path: Path) -> Iterator[Samples]:
    resampler = Resampler(file.samplerate)
    while len(frames := file.read(round(_READ_S * file.samplerate), dtype="float32", always_2d=True)):
        wave: Wave = frames.mean(axis=1)
        if not np.isfinite(wave).all():
            raise Problem("holds values that are no sound", where=str(path))
        yield resampler.feed(wave)
    yield resampler.rest()


def _without_start(pieces: Iterable[Samples], skipped: int) -> Iterator[Samples]:
    for piece in pieces:
        yield piece[skipped:]
        skipped -= min(skipped, len(piece))


def _cut(pieces: Iterable[Samples], from_ms: int) -> Iterator[SoundBlock]:
    waiting = np.zeros(0, np.int16)
    start_ms = from_ms
    for piece in pieces:
        waiting = np.concatenate([waiting, piece])
        whole = len(waiting) // BLOCK * BLOCK
        for samples in waiting[:whole].reshape(-1, BLOCK):
            yield SoundBlock(samples, start_ms, time.monotonic())
            start_ms += BLOCK_MS
        waiting = waiting[whole:]
    if len(waiting):
        yield SoundBlock(np.pad(waiting, (0, BLOCK - len(waiting))), start_ms, time.monotonic())


def _paced(blocks: Iterator[SoundBlock], *, paced: bool) -> Iterator[SoundBlock]:
    """Hold each block back until its last sample could have been heard; a late listener shifts nothing."""
    if not paced:
        yield from blocks
        return
    begun = time.monotonic()
    for number, block in enumerate(blocks, start=1):
        due = begun + number * BLOCK_MS / 1000
        time.sleep(max(0.0, due - time.monotonic()))
        yield SoundBlock(block.samples, block.start_ms, due, block.overflow)
