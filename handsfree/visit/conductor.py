"""The live loop of a visit: sound and keys come in, time passes, the recorder decides, the mouth speaks.

One thread, one thing at a time. What is decided is on disk before a word of it is spoken.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from handsfree.hearing.listener import SpeechBegan, Utterance
from handsfree.hearing.resampling import RATE, Samples
from handsfree.hearing.worker import (
    Hearing,
    HearingFailed,
    HearingRestarted,
    MicrophoneBack,
    MicrophoneGone,
    SourceEnded,
)
from handsfree.problem import ExitCode
from handsfree.procedure.model import ConfirmGate
from handsfree.session import events as ev
from handsfree.session import inputs as inp
from handsfree.session.plan import Plan
from handsfree.session.state import State
from handsfree.visit.hearing import heard_from
from handsfree.visit.recorder import Recorder, spoken

TICK_S = 0.02
SPEECH_MS = 6_000
"""Once a person has begun to speak, nothing is taken for silence until they have finished, or for so long."""
CHECKED = frozenset(
    {"read-back", "thing-check", "done-check", "turn-check", "answer-check", "finish-check", "cleared-check"}
)


class Mouth(Protocol):
    """Whatever tells the person something, aloud or as text."""

    @property
    def speaking(self) -> bool:
        """Whether it can be heard now."""

    def say(self, texts: Sequence[str], tones: Sequence[str]) -> None:
        """Say the texts in order, in place of what is being said; tones come first."""

    def note(self, text: str) -> None:
        """Show a line that is not spoken."""


class Keys(Protocol):
    """Lines typed, none of them waited for."""

    @property
    def over(self) -> bool:
        """Whether no line can come any more."""

    def line(self) -> str | None:
        """Return the next line, or None."""


class Onlooker(Protocol):
    """Whoever follows the visit to show it."""

    def saw(self, events: Sequence[inp.Input | ev.Record]) -> None:
        """Take in what was recorded."""

    def utterance(self, samples: Samples) -> None:
        """Take in the sound of an utterance, before it is decided on."""


class Conductor:
    """Runs one visit until it is closed, the source ends, or the program is interrupted."""

    def __init__(
        self,
        recorder: Recorder,
        mouth: Mouth,
        keys: Keys | None,
        hearing: Hearing | None,
        onlooker: Onlooker | None = None,
    ) -> None:
        self._recorder, self._mouth, self._keys, self._hearing = recorder, mouth, keys, hearing
        self._onlooker = onlooker
        self._listening_for: tuple[Any, str] | None = None
        self._speech_until = 0

    def run(self, opening: Sequence[ev.Record]) -> ExitCode:
        """Conduct the visit; return DONE when it is finished, FAILED when stopped, LEFT_OPEN otherwise."""
        self._shown(opening)
        self._tell(opening)
        while not self._recorder.closed:
            self._listen()
            if self._recorder.state.speaking and not self._mouth.speaking:
                self._take(inp.SpeechEnded(at=self._recorder.now()))
                continue
            due = self._recorder.deadline()
            if due is not None and self._recorder.now() >= max(due, self._speech_until):
                self._take(inp.TimePassed(at=self._recorder.now()))
                continue
            if not self._hear() or self._nobody_left():
                return ExitCode.LEFT_OPEN
            self._typed()
        return ExitCode.DONE if self._recorder.state.gate == "finished" else ExitCode.FAILED

    def _take(self, event: inp.Input) -> None:
        decisions = self._recorder.take(event)
        self._shown((event, *decisions))
        self._tell(decisions)

    def _shown(self, events: Sequence[inp.Input | ev.Record]) -> None:
        if self._onlooker is not None:
            self._onlooker.saw(events)

    def _tell(self, events: Sequence[ev.Record]) -> None:
        texts = spoken(events)
        tones = [event.name for event in events if isinstance(event, ev.ToneSounded)]
        if texts or tones:
            self._mouth.say(texts, tones)

    def _listen(self) -> None:
        """Tell the ears what is understood now, when that has changed."""
        state = self._recorder.state
        wanted = (state.question, state.gate)
        if self._hearing is not None and wanted != self._listening_for:
            self._listening_for = wanted
            self._hearing.listen_for(self._recorder.plan.grammar(*wanted).automaton)

    def _hear(self) -> bool:
        """Take what the ears have; False when they have come to the end of a file."""
        if self._hearing is None:
            time.sleep(TICK_S)
            return True
        match self._hearing.next_event(TICK_S):
            case Utterance() as utterance:
                self._utterance(utterance)
            case HearingRestarted(reason=reason):
                self._mouth.note(f"Hearing {reason}; restarted.")
                self._take(inp.DeviceLost(at=self._recorder.now(), device="recogniser"))
            case MicrophoneGone(name=name):
                self._mouth.note(f"The microphone {name} is lost. Use the keys.")
                self._take(inp.DeviceLost(at=self._recorder.now(), device="microphone"))
            case MicrophoneBack():
                self._take(inp.DeviceFound(at=self._recorder.now(), device="microphone"))
            case HearingFailed(problem=problem):
                self._mouth.note(f"{problem.sentence()}. Use the keys.")
                self._hearing = None
                self._take(inp.DeviceLost(at=self._recorder.now(), device="recogniser"))
            case SourceEnded():
                self._hearing = None
            case SpeechBegan():
                self._speech_until = self._recorder.now() + SPEECH_MS
            case None:
                pass
        return True

    def _utterance(self, utterance: Utterance) -> None:
        question, gate = self._listening_for or (self._recorder.state.question, self._recorder.state.gate)
        now = self._recorder.now()
        self._speech_until = 0
        began = now - utterance.latency_ms - utterance.ended_ms
        sound = self._recorder.keep_sound(utterance.samples, RATE)
        identity = self._recorder.plan.grammar(question, gate).automaton.identity
        heard = heard_from(utterance, began, now, identity, sound)
        best = " ".join(heard.alternatives[0].text) if heard.alternatives else "nothing"
        if self._onlooker is None:
            self._mouth.note(f"heard: {best}")
        else:
            self._onlooker.utterance(utterance.samples)
        self._take(heard)

    def _nobody_left(self) -> bool:
        return self._hearing is None and (self._keys is None or self._keys.over)

    def _typed(self) -> None:
        line = self._keys.line() if self._keys is not None else None
        if line is None:
            return
        text = line.strip() or enter_means(self._recorder.plan, self._recorder.state)
        if text:
            self._take(inp.Typed(at=self._recorder.now(), text=text))


def enter_means(plan: Plan, state: State) -> str:
    """Return what the bare enter key answers: that it is done, or that a read-back is right; else nothing."""
    gate = plan.gate(state.gate).gate if state.gate in plan.procedure.gates else None
    if state.question.kind == "gate" and isinstance(gate, ConfirmGate):
        return gate.done[0]
    if state.question.kind in CHECKED:
        return plan.catalogue.answers["affirm"][0]
    if state.question.kind in {"mark-first", "mark-last"}:
        return plan.catalogue.answers["mark"][0]
    return ""


class QueuedKeys:
    """Lines from a stream, read by a thread of their own; at the end of the stream nothing more comes."""

    def __init__(self, read_line: Callable[[], str]) -> None:
        import threading  # noqa: PLC0415 - only a visit with keys needs one

        self._lines: queue.Queue[str] = queue.Queue()
        self._ended = False

        def pump() -> None:
            while line := read_line():
                self._lines.put(line.rstrip("\n"))
            self._ended = True

        threading.Thread(target=pump, name="handsfree keys", daemon=True).start()

    @property
    def over(self) -> bool:
        """Whether no line can come any more."""
        return self._ended and self._lines.empty()

    def line(self) -> str | None:
        """Return the next line, or None."""
        try:
            return self._lines.get_nowait()
        except queue.Empty:
            return None
