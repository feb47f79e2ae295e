"""Listening ahead: the general recogniser takes an utterance while the silence that ends it is waited for."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYetError
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from handsfree.hearing.general.scoring import Begun, Floats, Places, Progress, TooLateError, asked_ahead, written
from handsfree.hearing.resampling import Samples


class SpeechNetwork(Protocol):
    """Listens to sound, and says what may be written next."""

    def listen(self, samples: Samples) -> Progress:
        """Take a stretch of sound (int16, 16 kHz)."""

    def step(self, before: Progress, after: Sequence[int], pieces: Sequence[int]) -> Progress:
        """Return what may come after each of the pieces, each said after the one at a place of all so far."""


@dataclass(frozen=True, eq=False)
class Listened:
    """What it wrote of the sound; the beginning of texts on the noise alone, where that was asked for."""

    begun: Begun
    noise: Begun | None
    fits: tuple[tuple[str, ...], ...] = ()
    """The sentences of the grammar whose phones fit best, where they were looked for."""


class Ahead:
    """An utterance that is being listened to, or has been; `drop` it when the speech goes on."""

    def __init__(self, worker: ThreadPoolExecutor, work: Callable[..., Listened]) -> None:
        self._dropped = threading.Event()
        self._result: Future[Listened] = worker.submit(work, wanted=lambda: not self._dropped.is_set())

    def drop(self) -> None:
        """Let it be: what it finds is of no use."""
        self._dropped.set()
        self._result.cancel()

    def result(self, patience_s: float) -> Listened:
        """Return what it found; raises TooLateError when that takes too long."""
        try:
            return self._result.result(max(0.0, min(patience_s, threading.TIMEOUT_MAX)))
        except NotYetError as error:
            raise TooLateError from error


def listened(
    network: SpeechNetwork,
    samples: Samples,
    noise: Samples | None,
    look: Callable[[Floats], tuple[tuple[str, ...], ...]] = lambda _: (),
    texts: Callable[[Iterable[tuple[str, ...]]], Iterable[Sequence[Places]]] = lambda _: (),
    *,
    wanted: Callable[[], bool] = lambda: True,
    until: float = float("inf"),
    clock: Callable[[], float] = time.monotonic,
) -> Listened:
    """Listen to an utterance and to as much of the `noise` before it, where there is some; write freely.

    `look` finds the sentences that fit, of the log probabilities of phones; `texts` says how each is written, and
    about that it is asked at once.

    Raises TooLateError when the clock passes `until`, or when it is not `wanted` any more.
    """
    if not wanted():
        raise TooLateError
    begun = written(network, network.listen(samples), until=until, clock=clock, wanted=wanted)
    if clock() > until or not wanted():
        raise TooLateError
    fits = look(begun.progress.phones)
    if fits:
        begun = asked_ahead(network, begun, texts(fits), lambda: clock() <= until and wanted())
    if noise is None:
        return Listened(begun, None, fits)
    if clock() > until or not wanted():
        raise TooLateError
    return Listened(begun, Begun.of(network.listen(np.resize(noise, len(samples)))), fits)
