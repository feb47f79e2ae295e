"""Hearing in a process of its own, watched and replaced: a native crash there never ends the visit.

The child runs source, voice activity and recogniser, and sends a heartbeat; a thread here passes its
events on, and starts another child when one dies, hangs, or loses its microphone.
"""

from __future__ import annotations

import contextlib
import importlib
import math
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from handsfree import sound_card
from handsfree.child import Child, ChildDied
from handsfree.hearing.listener import Ears, Listener, NothingSaid, SpeechBegan, Utterance
from handsfree.hearing.microphone import MicrophoneLost
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK_MS, Source
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem

HEARTBEAT_S = 0.25
"""How often the child says that it lives."""
DRIFT_MS = 0.05
"""How much a sound card's clock may lose on the machine's from beat to beat: 200 in a million. A judgement."""
HUNG_AFTER_S = 3.0
START_PATIENCE_S = 60.0
"""A large speech model takes its time to load."""
FIRST_RETRY_S, LAST_RETRY_S = 1.0, 5.0
"""Between looks for a lost microphone; each starts a process."""
DEATHS_IN_A_ROW = 3
"""A child that dies so often before it has heard this much will not get better."""
PROGRESS_MS = 1_000


@dataclass(frozen=True)
class HearingRestarted:
    """The recogniser's process died or hung and was replaced; what was being said is lost."""

    reason: str
    at_ms: int


@dataclass(frozen=True)
class HearingBack:
    """The recogniser that took the place of the dead one listens."""

    at_ms: int


@dataclass(frozen=True)
class MicrophoneGone:
    """No sound comes from the microphone; it is looked for until it is back."""

    name: str
    at_ms: int


@dataclass(frozen=True)
class MicrophoneBack:
    """Sound comes again."""

    name: str
    at_ms: int


@dataclass(frozen=True)
class SourceEnded:
    """A file or folder has been heard to its end."""

    at_ms: int


@dataclass(frozen=True)
class HearingFailed:
    """Hearing cannot go on, and why: there is no microphone, or the model cannot be used."""

    problem: Problem


Heard = (
    SpeechBegan
    | NothingSaid
    | Utterance
    | HearingRestarted
    | HearingBack
    | MicrophoneGone
    | MicrophoneBack
    | SourceEnded
    | HearingFailed
)


@dataclass(frozen=True)
class HearingPlan:
    """What a child needs to know; `ears` makes the recogniser and must be importable in a fresh process.

    For the real one it is `functools.partial(recogniser_of, model_folder)`.
    """

    source: Source
    ears: Callable[[], Ears]
    stop_words: WordAutomaton | None = None
    talk_over: bool = False


@dataclass(frozen=True)
class _ListenFor:
    grammar: WordAutomaton


@dataclass(frozen=True)
class _ToolSpeaks:
    speaking: bool
    played: Samples | None = None


@dataclass(frozen=True)
class _Beat:
    at_ms: int
    hearing: bool
    noise_db: float = -90.0
    lost_blocks: int = 0


@dataclass(frozen=True)
class _Lost:
    reason: str


@dataclass
class _Wishes:
    """What the visit asked for last, repeated to each new child."""

    grammar: WordAutomaton | None = None
    speaking: _ToolSpeaks = _ToolSpeaks(speaking=False)
    lock: threading.Lock = field(default_factory=threading.Lock)


class Hearing:
    """Listens in the background; take what is heard from `events`.

    `listen_for` may be called at any time; a grammar with a word that the model cannot hear becomes
    HearingFailed. Call `close` at the end.
    """

    def __init__(self, plan: HearingPlan, *, hung_after_s: float = HUNG_AFTER_S) -> None:
        self.events: queue.Queue[Heard] = queue.Queue()
        self.restarts = 0
        self.listening = False
        """Whether sound arrives and is listened to at this moment."""
        self.noise_db = -90.0
        """The level of the noise now, in dB of full scale."""
        self.lost_blocks = 0
        """How many blocks of sound were lost since the beginning."""
        self._plan, self._hung_after_s = plan, hung_after_s
        self._wishes = _Wishes()
        self._closing = threading.Event()
        self._child: Child | None = None
        self._at_ms, self._at = 0, time.monotonic()
        self._promptest = math.inf
        """The least that a beat came after its place in the sound, ms; another child's clock differs a little."""
        self._gone = False
        self._restarting = False
        self._lost_before = 0
        self._minder = threading.Thread(target=self._mind, name="handsfree hearing", daemon=True)
        self._minder.start()

    def listen_for(self, grammar: WordAutomaton) -> None:
        """Take up the grammar of the moment."""
        with self._wishes.lock:
            self._wishes.grammar = grammar
            self._tell(_ListenFor(grammar))

    def tool_speaks(self, speaking: bool, played: Samples | None = None) -> None:
        """Say that the tool's own voice begins or has ended; `played` is what it begins to say (int16, 16 kHz)."""
        with self._wishes.lock:
            self._wishes.speaking = _ToolSpeaks(speaking)  # a later child cannot know how much was said before
            self._tell(_ToolSpeaks(speaking, played))

    def next_event(self, patience_s: float) -> Heard | None:
        """Return the next event, or None when none comes in time."""
        try:
            return self.events.get(timeout=patience_s)
        except queue.Empty:
            return None

    @property
    def behind_ms(self) -> float:
        """How far the listening is behind the sound: a slow machine works off what a busy moment has left.

        Nothing is known of what was said in that time; it is not silence. 0 for sound that is not live.
        """
        if not self._plan.source.live or not self.listening:
            return 0.0
        behind = 1000 * time.monotonic() - self._at_ms - self._promptest
        return max(0.0, behind - 1000 * HEARTBEAT_S)

    @property
    def process_id(self) -> int:
        """The number of the process that listens now; 0 between two."""
        child = self._child
        return child.process_id if child else 0

    def close(self) -> None:
        """Stop listening and end the child."""
        self._closing.set()
        self._minder.join()

    def _tell(self, message: object) -> None:
        if self._child is not None:
            with contextlib.suppress(ChildDied):  # the minder notices, and the next child is told
                self._child.send(message)

    def _mind(self) -> None:
        """Keep a child at work until closed, or until it makes no sense any more."""
        early_deaths, retry_s = 0, FIRST_RETRY_S
        while not self._closing.is_set():
            begun_ms = self._at_ms
            ended = self._attend()
            if ended is None:
                return
            if isinstance(ended, _Lost) or self._gone:
                early_deaths = 0
                self._tell_gone()
            else:
                early_deaths = early_deaths + 1 if self._at_ms < begun_ms + PROGRESS_MS else 1
                if early_deaths >= DEATHS_IN_A_ROW:
                    self.events.put(HearingFailed(Problem(f"the recogniser does not work: it {ended}")))
                    return
                self.restarts += 1
                self._restarting = True
                self.events.put(HearingRestarted(ended, self._at_ms))
            retry_s = min(2 * retry_s, LAST_RETRY_S) if self._at_ms < begun_ms + PROGRESS_MS else FIRST_RETRY_S
            if self._gone or early_deaths > 1:
                self._closing.wait(retry_s)

    def _attend(self) -> str | _Lost | None:
        """Run one child; return how it ended, _Lost for its microphone, None when all is over."""
        begun = time.monotonic()
        self._lost_before = self.lost_blocks
        self._promptest = math.inf
        child = Child("handsfree hearing", attend_source, self._plan, self._at_ms, self._at)
        with self._wishes.lock:
            self._child = child
            if self._wishes.grammar is not None:
                self._tell(_ListenFor(self._wishes.grammar))
            self._tell(self._wishes.speaking)
        try:
            return self._pass_on(child, begun)
        except ChildDied as death:
            return str(death)
        finally:
            self.listening = False
            child.kill()  # first, for whoever holds the lock may be waiting for it to read
            with self._wishes.lock:
                self._child = None
            child.stop()

    def _pass_on(self, child: Child, begun: float) -> str | _Lost | None:
        heard_of, limit_s = begun, START_PATIENCE_S
        while not self._closing.is_set():
            message: Any = child.receive(HEARTBEAT_S)
            now = time.monotonic()
            if message is None:
                if now - heard_of > limit_s:
                    return f"has hung for {now - heard_of:.0f} s"
                continue
            heard_of, limit_s = now, self._hung_after_s
            if isinstance(message, _Beat):
                self._at_ms, self._at = message.at_ms, now
                if message.hearing:
                    self._promptest = min(self._promptest + DRIFT_MS, 1000 * now - message.at_ms)
                    self.noise_db, self.lost_blocks = message.noise_db, self._lost_before + message.lost_blocks
                    self._tell_back()
            elif isinstance(message, _Lost):
                return message
            elif isinstance(message, HearingFailed) and self._gone:
                return _Lost(message.problem.what)  # still not plugged in
            else:
                self.events.put(message)
                if isinstance(message, (SourceEnded, HearingFailed)):
                    return None
        return None

    def _tell_back(self) -> None:
        self.listening = True
        if self._gone:
            self._gone = False
            self.events.put(MicrophoneBack(self._plan.source.name, self._at_ms))
        if self._restarting:
            self._restarting = False
            self.events.put(HearingBack(self._at_ms))

    def _tell_gone(self) -> None:
        if not self._gone:
            self._gone = True
            self.events.put(MicrophoneGone(self._plan.source.name, self._at_ms))


def recogniser_of(model_folder: Path, pronunciations: Pronunciations | None = None) -> Ears:
    """Make the recogniser; its native library is loaded only where this is called."""
    from handsfree.hearing.recogniser import Recogniser  # noqa: PLC0415 - see above

    return Recogniser(model_folder, pronunciations)


def attend_source(pipe: Connection, plan: HearingPlan, at_ms: int, moment: float) -> None:
    """Run in the child: listen to the source, send what is heard and a heartbeat, obey what comes.

    The source's clock stood at `at_ms` at the monotonic time `moment`.
    """
    try:
        listener = Listener(plan.ears(), plan.stop_words, talk_over=plan.talk_over)
        pipe.send(_Beat(at_ms, hearing=False))
        # It takes half a second, which no stop phrase must wait for.
        threading.Thread(target=importlib.import_module, args=("scipy.linalg",), daemon=True).start()
        while not listener.ready:
            if pipe.poll(HEARTBEAT_S):
                _obey(listener, pipe.recv())
            else:
                pipe.send(_Beat(at_ms, hearing=False))
        if plan.source.live:
            at_ms += round((time.monotonic() - moment) * 1000 / BLOCK_MS) * BLOCK_MS
        with sound_card.quiet() if plan.source.live else contextlib.nullcontext():
            _listen(pipe, listener, plan.source, at_ms)
    except Problem as problem:
        pipe.send(HearingFailed(problem))
    except MicrophoneLost as lost:
        pipe.send(_Lost(str(lost)))


def _listen(pipe: Connection, listener: Listener, source: Source, at_ms: int) -> None:
    beaten, lost_blocks = 0.0, 0
    for block in source.blocks(at_ms):
        while pipe.poll():
            _obey(listener, pipe.recv())
        events = list(listener.hear(block))
        for event in events:
            pipe.send(event)
        at_ms = block.start_ms + BLOCK_MS
        lost_blocks += block.overflow
        # Also after each event, so that a successor does not hear it again.
        if events or time.monotonic() - beaten >= HEARTBEAT_S:
            beaten = time.monotonic()
            pipe.send(_Beat(at_ms, True, listener.noise_db, lost_blocks))
    for utterance in listener.finish():
        pipe.send(utterance)
    pipe.send(SourceEnded(at_ms))


def _obey(listener: Listener, message: object) -> None:
    if isinstance(message, _ListenFor):
        listener.listen_for(message.grammar)
    elif isinstance(message, _ToolSpeaks):
        listener.tool_speaks(message.speaking, message.played)
