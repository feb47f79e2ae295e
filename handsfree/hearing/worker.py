"""Hearing in a process of its own, watched and replaced: a native crash there never ends the visit.

The child runs source, voice activity and recogniser, and sends a heartbeat; its supervisor passes its events
on, and starts another child when one dies, hangs, or loses its microphone.
"""

from __future__ import annotations

import contextlib
import importlib
import math
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree import sound_card
from handsfree.hearing.enrolment.voice import EnrolledVoice
from handsfree.hearing.freed_memory import give_back_memory, share_one_heap
from handsfree.hearing.listener import Listener, NothingSaid, SpeechBegan, Utterance, UtteranceRecogniser
from handsfree.hearing.microphone import MicrophoneLost
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK_MS, SoundSource
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem
from handsfree.supervisor import Supervisor

if TYPE_CHECKING:  # where it is not asked, none of it is loaded
    from handsfree.hearing.general.weights import GeneralPlan

HEARTBEAT_S = 0.25
"""How often the child says that it lives."""
DRIFT_MS = 0.05
"""How much a sound card's clock may lose on the machine's from beat to beat: 200 in a million. A judgement."""
HUNG_AFTER_S = 3.0
QUIET_S = 2.0
"""A source that can come back by itself counts as gone when it has had nothing for so long."""
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


HearingEvent = (
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
    """What a child needs to know; `recogniser` makes the recogniser and must be importable in a fresh process.

    For the real one it is `functools.partial(recogniser_of, model_folder)`.
    """

    source: SoundSource
    recogniser: Callable[[], UtteranceRecogniser]
    stop_words: WordAutomaton | None = None
    talk_over: bool = False
    in_talk: Decimal | None = None
    """The lead that a long stop phrase wants within talk that does not pause; None: none is looked for there."""


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
    gone: bool = False
    """Nothing comes from the source; this child will hear it when it is back."""


@dataclass(frozen=True)
class _Lost:
    reason: str


@dataclass(frozen=True)
class _Done:
    """Nothing more is to be heard."""


class Hearing:
    """Listens in the background; take what is heard from `events`.

    `listen_for` may be called at any time; a grammar with a word that the model cannot hear becomes
    HearingFailed. Call `close` at the end.
    """

    def __init__(self, plan: HearingPlan, *, hung_after_s: float = HUNG_AFTER_S) -> None:
        self.events: queue.Queue[HearingEvent] = queue.Queue()
        self.restarts = 0
        self.listening = False
        """Whether sound arrives and is listened to at this moment."""
        self.noise_db = -90.0
        """The level of the noise now, in dB of full scale."""
        self.lost_blocks = 0
        """How many blocks of sound were lost since the beginning."""
        self._plan = plan
        self._grammar: _ListenFor | None = None
        self._speaking = _ToolSpeaks(speaking=False)
        self._at_ms, self._at = 0, time.monotonic()
        self._promptest = math.inf
        """The least that a beat came after its place in the sound, ms; another child's clock differs a little."""
        self._begun_ms = self._lost_before = self._early_deaths = 0
        self._retry_s = FIRST_RETRY_S
        self._gone = self._restarting = False
        self._supervisor: Supervisor[_Lost | _Done] = Supervisor(
            "handsfree hearing", attend_source, self, start_s=START_PATIENCE_S, hung_after_s=hung_after_s
        )
        self._supervisor.start()

    def listen_for(self, grammar: WordAutomaton) -> None:
        """Take up the grammar of the moment."""
        with self._supervisor.lock:
            self._grammar = _ListenFor(grammar)
            self._supervisor.tell(self._grammar)

    def tool_speaks(self, speaking: bool, played: Samples | None = None) -> None:
        """Say that the tool's own voice begins or has ended; `played` is what it begins to say (int16, 16 kHz)."""
        with self._supervisor.lock:
            self._speaking = _ToolSpeaks(speaking)  # a later child cannot know how much was said before
            self._supervisor.tell(_ToolSpeaks(speaking, played))

    def next_event(self, patience_s: float) -> HearingEvent | None:
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
        return self._supervisor.process_id

    def close(self) -> None:
        """Stop listening and end the child."""
        self._supervisor.close()
        self.listening = False

    def arguments(self) -> tuple[object, ...]:
        """Return what a new child is to work with; for the supervisor."""
        self._begun_ms, self._lost_before, self._promptest = self._at_ms, self.lost_blocks, math.inf
        return self._plan, self._at_ms, self._at

    def told_first(self) -> tuple[object, ...]:
        """Return what the visit asked for last; for the supervisor."""
        return (self._speaking,) if self._grammar is None else (self._grammar, self._speaking)

    def heard(self, message: Any) -> _Lost | _Done | None:
        """Take in a message of the child; for the supervisor."""
        if isinstance(message, _Beat):
            self._beat(message)
            return None
        if isinstance(message, _Lost):
            return message
        if isinstance(message, HearingFailed) and self._gone:
            return _Lost(message.problem.what)  # still not plugged in
        self.events.put(message)
        return _Done() if isinstance(message, (SourceEnded, HearingFailed)) else None

    def ended(self, why: _Lost | _Done | str) -> float | None:
        """Tell of the child's end, and say when the next one starts; for the supervisor."""
        self.listening = False
        if isinstance(why, _Done):
            return None
        no_progress = self._at_ms < self._begun_ms + PROGRESS_MS
        if isinstance(why, _Lost) or self._gone:
            self._early_deaths = 0
            self._tell_gone()
        else:
            self._early_deaths = self._early_deaths + 1 if no_progress else 1
            if self._early_deaths >= DEATHS_IN_A_ROW:
                self.events.put(HearingFailed(Problem(f"the recogniser does not work: it {why}")))
                return None
            self.restarts += 1
            self._restarting = True
            self.events.put(HearingRestarted(why, self._at_ms))
        self._retry_s = min(2 * self._retry_s, LAST_RETRY_S) if no_progress else FIRST_RETRY_S
        return self._retry_s if self._gone or self._early_deaths > 1 else 0.0

    def _beat(self, beat: _Beat) -> None:
        self._at_ms, self._at = beat.at_ms, time.monotonic()
        if beat.gone:
            self.listening = False
            self._tell_gone()
        elif beat.hearing:
            self._promptest = min(self._promptest + DRIFT_MS, 1000 * self._at - beat.at_ms)
            self.noise_db, self.lost_blocks = beat.noise_db, self._lost_before + beat.lost_blocks
            self._tell_back()

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


def recogniser_of(
    model_folder: Path,
    pronunciations: Pronunciations | None = None,
    general: GeneralPlan | None = None,
    voice: EnrolledVoice | None = None,
) -> UtteranceRecogniser:
    """Make the recogniser; its native libraries are loaded only where this is called."""
    from handsfree.hearing.recogniser import Recogniser  # noqa: PLC0415 - see above

    if general is None:
        return Recogniser(model_folder, pronunciations, None, voice)
    from handsfree.hearing.general.member import GeneralMember  # noqa: PLC0415

    return Recogniser(model_folder, pronunciations, GeneralMember(general, pronunciations), voice)


def attend_source(pipe: Connection, plan: HearingPlan, at_ms: int, moment: float) -> None:
    """Run in the child: listen to the source, send what is heard and a heartbeat, obey what comes.

    The source's clock stood at `at_ms` at the monotonic time `moment`.
    """
    share_one_heap()
    try:
        listener = Listener(plan.recogniser(), plan.stop_words, talk_over=plan.talk_over, in_talk=plan.in_talk)
        pipe.send(_Beat(at_ms, hearing=False))
        if not plan.talk_over:  # a headset has no echo to be taken away, and needs not 14 MB for it
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


def _listen(pipe: Connection, listener: Listener, source: SoundSource, at_ms: int) -> None:
    beaten, lost_blocks = 0.0, 0
    for block in source.blocks(at_ms):
        while pipe.poll():
            _obey(listener, pipe.recv())
        if block.waited_s:
            if time.monotonic() - beaten >= HEARTBEAT_S:
                beaten = time.monotonic()
                pipe.send(_Beat(at_ms, hearing=False, gone=block.waited_s >= QUIET_S))
            continue
        events = list(listener.hear(block))
        for event in events:
            pipe.send(event)
        if events:
            give_back_memory()  # after it was told, so that nothing waits
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
