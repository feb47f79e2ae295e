"""A source of sound that asks for each next stretch: the visit decides what is said, in the time of the sound.

So hours of a conversation pass as fast as the machine hears, and every question is answered at its time.
"""

from __future__ import annotations

import functools
import multiprocessing
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from handsfree.demo.play import DemoClock
from handsfree.hearing.listener import Utterance
from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundBlock
from handsfree.hearing.worker import Hearing, HearingPlan, recogniser_of
from handsfree.visit.conductor import TICK_S, Conductor
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder
from tests.bench.live.scale import MODEL
from tests.live.support.conversation import JOB_SHEET

HUNG_AFTER_S = 30.0
"""The source waits for the visit, whose disk may be slow."""
DRAIN_S = 0.05
"""After a stretch has been heard, its last utterance is on its way through the pipe for so long at most."""


@dataclass(frozen=True, eq=False)
class Turns:
    """The source: it tells where its clock stands, and waits for the next stretch; None ends it."""

    pipe: Connection
    name: str = "turns"
    live: bool = False

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield the stretches, block by block."""
        at_ms = from_ms
        while True:
            self.pipe.send(at_ms)
            stretch = self.pipe.recv()
            if stretch is None:
                return
            for samples in np.frombuffer(stretch, np.int16).reshape(-1, BLOCK):
                yield SoundBlock(samples, at_ms, time.monotonic())
                at_ms += BLOCK_MS


@dataclass(frozen=True)
class Told:
    """What is kept of an utterance: its words and, in ms of the source, where it stood."""

    words: str
    started_ms: int
    ended_ms: int
    overflow: bool


@dataclass
class InTime:
    """Stands before the hearing process for a conductor, and lets the visit's clock follow the sound.

    `next_stretch` is asked for samples at each stretch's beginning, given its time in ms; None ends the source.
    """

    hearing: Hearing
    pipe: Connection
    clock: DemoClock
    next_stretch: Script
    utterances: list[Told] = field(default_factory=list)
    _waiting: deque[Any] = field(default_factory=deque)
    _asked_ms: int | None = None

    def __getattr__(self, name: str) -> Any:
        """Pass all else on; a grammar arrives before the next stretch."""
        return getattr(self.hearing, name)

    def next_event(self, patience_s: float) -> object | None:
        """Return what was heard; when all of a stretch has been heard, let the next begin."""
        event = self.hearing.next_event(0 if self._asked_ms is not None else patience_s)
        if event is not None:
            return self._noted(event)
        if self._asked_ms is not None:
            stretch = self.next_stretch(self._asked_ms)
            self._asked_ms = None
            self.pipe.send(None if stretch is None else stretch.tobytes())
        elif self.pipe.poll():
            self._asked_ms = self.pipe.recv()
            late = self.hearing.next_event(DRAIN_S)
            if late is not None:
                return self._noted(late)
            self.clock.ms = max(self.clock.ms, self._asked_ms)
        return None

    def _noted(self, event: Any) -> object:
        if isinstance(event, Utterance):
            words = " ".join(event.alternatives[0].text)
            self.utterances.append(Told(words, event.started_ms, event.ended_ms, event.overflow))
            self.clock.ms = max(self.clock.ms, event.ended_ms + event.latency_ms)
        return event


class Script(Protocol):
    """Decides what each stretch holds."""

    @property
    def over(self) -> bool:
        """Whether all of the time has been filled."""

    def __call__(self, at_ms: int) -> np.ndarray | None:
        """Return the stretch that begins at that time of the source, int16 in whole blocks; None at the end."""


class Silent:
    """A mouth that is never heard, so that the microphone is always open."""

    speaking = False

    def say(self, texts: object, tones: object) -> None:
        """Say nothing."""

    def note(self, text: str) -> None:
        """Show nothing."""


@dataclass(frozen=True)
class Ran:
    """What is left of a visit in the time of the sound: its times are in real seconds."""

    folder: Path
    utterances: list[Told]
    restarts: int
    took_s: float
    processor_s: float


def conducted(procedure: Path, script_of: Callable[[Recorder, Hearing], Script]) -> Ran:
    """Lead a visit beside the procedure's file through all of a script's sound; it may be left open."""
    plan, kept = load_plan(procedure, JOB_SHEET)
    clock, folder = DemoClock(), procedure.parent / "visit"
    recorder, opening = Recorder.begin(folder, plan, kept, clock=clock)
    ours, theirs = multiprocessing.get_context("spawn").Pipe()
    recogniser = functools.partial(recogniser_of, MODEL)
    hearing = Hearing(
        HearingPlan(Turns(theirs), recogniser, plan.stop_grammar.automaton), hung_after_s=HUNG_AFTER_S
    )
    begun, used = time.monotonic(), time.process_time()
    with closing(hearing):
        script = script_of(recorder, hearing)
        in_time = InTime(hearing, ours, clock, script)
        Conductor(recorder, Silent(), None, in_time).run(opening)
        while not script.over:  # the visit is closed; the recogniser go on to the end of the time
            in_time.next_event(TICK_S)
    recorder.release()
    took = time.monotonic() - begun, time.process_time() - used
    return Ran(folder, in_time.utterances, hearing.restarts, *took)


def stretched(parts: Sequence[tuple[int, np.ndarray]], noise: np.ndarray) -> np.ndarray:
    """Return noise with waves laid in at their first samples, as int16."""
    mixed = noise.copy()
    for begin, wave in parts:
        mixed[begin : begin + len(wave)] += wave[: len(mixed) - begin]
    return np.clip(mixed, -32768, 32767).astype(np.int16)
