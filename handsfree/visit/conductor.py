"""The live loop of a visit: sound and keys come in, time passes, the recorder decides, the speaker speaks.

One thread, one thing at a time. What is decided is on disk before a word of it is spoken.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Protocol

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.devices import DeviceChange
from handsfree.events.record import Event
from handsfree.events.state import State
from handsfree.hearing.general.reading import Readings
from handsfree.hearing.listener import NothingSaid, SpeechBegan, Utterance
from handsfree.hearing.resampling import RATE, Samples
from handsfree.hearing.sound_monitor import Poor, SoundMonitor
from handsfree.hearing.worker import (
    Hearing,
    HearingBack,
    HearingFailed,
    HearingRestarted,
    MicrophoneBack,
    MicrophoneGone,
    SourceEnded,
)
from handsfree.ledger.personal import names_of
from handsfree.photo_file import Photo
from handsfree.problem import ExitCode, Problem
from handsfree.session.keys import keypad
from handsfree.session.photos import wanted
from handsfree.session.plan import Plan
from handsfree.session.signing import may_sign
from handsfree.visit.alerting import tell_others
from handsfree.visit.hearing import free_words_put_away, heard_from, told_in
from handsfree.visit.recorder import Recorder, spoken

TICK_S = 0.02
SPEECH_MS = 6_000
"""Once a person has begun to speak, nothing is taken for silence until they have finished, or for so long."""
CATCHING_UP_MS = 3_000
"""How long at most a recogniser that lags is waited for before silence counts as an answer."""


class Speaker(Protocol):
    """Whatever tells the person something, aloud or as text."""

    @property
    def speaking(self) -> bool:
        """Whether it can be heard now."""

    def say(self, texts: Sequence[str], tones: Sequence[str]) -> None:
        """Say the texts in order, in place of what is being said; tones come first."""

    def cut(self) -> None:
        """Fall silent at once."""

    def note(self, text: str) -> None:
        """Show a line that is not spoken."""


class Keys(Protocol):
    """Lines typed, none of them waited for."""

    @property
    def over(self) -> bool:
        """Whether no line can come any more."""

    def line(self) -> str | None:
        """Return the next line, or None."""

    def change(self) -> DeviceChange | None:
        """Return that keys were lost or found, each time once, or None."""


class Signing(Protocol):
    """Where signatures are drawn."""

    def drawn(self) -> tuple[inp.SigningRole, bytes] | None:
        """Return who has signed, and the strokes as they are kept, each once; or None."""


class Photos(Protocol):
    """Where photos come from."""

    def photo(self) -> Photo | None:
        """Return the next photo, each once; or None."""


class Witness(Protocol):
    """Where the rows of an instrument come from."""

    def news(self, now: int) -> inp.InstrumentRow | DeviceChange | None:
        """Return, each once, a row that came, or that the instrument was lost or found; or None."""


class Onlooker(Protocol):
    """Whoever follows the visit to show it."""

    def saw(self, events: Sequence[Event]) -> None:
        """Take in what was recorded."""

    def utterance(self, samples: Samples) -> None:
        """Take in the sound of an utterance, before it is decided on."""

    def noise(self, decibels: float) -> None:
        """Take in how loud it is while nobody speaks, in dB of full scale."""


class Conductor:
    """Runs one visit until it is closed, the source ends, or the program is interrupted."""

    def __init__(
        self,
        recorder: Recorder,
        speaker: Speaker,
        keys: Keys | None,
        hearing: Hearing | None,
        onlooker: Onlooker | None = None,
        *,
        alert_command: str = "",
        signing: Signing | None = None,
        photos: Sequence[Photos] = (),
        instrument: Witness | None = None,
    ) -> None:
        self._instrument = instrument
        self._signing, self._personal, self._photos = signing, names_of(recorder.folder), photos
        self._recorder, self._speaker, self._keys, self._hearing = recorder, speaker, keys, hearing
        self._onlooker, self._alert_command = onlooker, alert_command
        self._listening_for: tuple[Any, str] | None = None
        self._speech_until = 0
        self._sound_monitor = SoundMonitor()
        self._said: tuple[Sequence[str], Sequence[str]] = ((), ())
        self._whole: tuple[Sequence[str], Sequence[str]] = self._said
        """What is said to its end, whoever speaks."""
        self._cut_short = False
        """The person has spoken over the tool, and it is not yet known whether they said anything."""

    def run(self, opening: Sequence[ev.Decision], first: str = "", *, warned: bool = False) -> ExitCode:
        """Conduct the visit, `first` being words typed before it began.

        An opening that cautions or warns is said to its end.
        Returns DONE when finished, FAILED when stopped or incomplete, LEFT_OPEN otherwise.
        """
        self._shown(opening)
        self._tell(opening)
        if warned or any(isinstance(event, ev.VisitOpened) for event in opening):
            self._whole = self._said  # with the cautions
        if first:
            self._take(inp.Typed(at=self._recorder.now(), text=first))
        while not self._recorder.closed:
            self._listen()
            if self._cut_short:
                self._say_again_what_nobody_answered()
            elif self._recorder.state.speaking and not self._speaker.speaking:
                self._take(inp.SpeechEnded(at=self._recorder.now()))
                continue
            due = self._recorder.deadline()
            if due is not None and self._recorder.now() >= max(due + self._behind_ms(), self._speech_until):
                self._take(inp.TimePassed(at=self._recorder.now()))
                continue
            self._hear()
            if self._nobody_left():
                return ExitCode.LEFT_OPEN
            self._sign()
            self._photograph()
            self._witness()
            self._typed()
        return ExitCode.DONE if self._recorder.state.outcome == "finished" else ExitCode.FAILED

    def _behind_ms(self) -> float:
        """Return for how long the recogniser cannot yet say whether anybody has spoken."""
        return 0.0 if self._hearing is None else min(CATCHING_UP_MS, self._hearing.behind_ms)

    def _take(self, *inputs: inp.Input) -> None:
        """Let inputs that came together be decided one after the other, then say all that follows from them."""
        if self._cut_short:
            self._cut_short = False
            inputs = (inp.SpeechEnded(at=self._recorder.now(), cut=True), *inputs)
        decided: list[ev.Decision] = []
        for event in inputs:
            decisions = self._recorder.take(event)
            self._shown((event, *decisions))
            decided += decisions
        self._tell(decided)
        self._alert(decided)

    def _alert(self, events: Sequence[ev.Decision]) -> None:
        """Tell somebody else that nobody answers, where this device has a command for it."""
        for event in events:
            if isinstance(event, ev.Alerted) and self._alert_command:
                failed = tell_others(self._alert_command, event)
                if failed:
                    self._speaker.note(failed)

    def _shown(self, events: Sequence[Event]) -> None:
        if self._onlooker is not None:
            self._onlooker.saw([told_in(event, self._personal) for event in events])

    def _tell(self, events: Sequence[ev.Decision]) -> None:
        texts = [self._personal.told_in_short(text) for text in spoken(events)]
        tones = [event.name for event in events if isinstance(event, ev.ToneSounded)]
        if texts or tones:
            self._said = (texts, tones)
            self._speaker.say(texts, tones)

    def _hush(self) -> None:
        """Fall silent for a person who speaks over the tool; not with cautions, a stop's script or an alarm."""
        state = self._recorder.state
        if self._said is self._whole:
            return
        if self._speaker.speaking and state.status == "running" and not state.alarmed:
            self._speaker.cut()
            self._cut_short = True

    def _say_again_what_nobody_answered(self) -> None:
        """After a cough the person has still not heard what was cut off by it."""
        if self._recorder.now() >= self._speech_until:
            self._cut_short = False
            self._speaker.say(*self._said)

    def _listen(self) -> None:
        """Tell the recogniser what is understood now, when that has changed."""
        state = self._recorder.state
        wanted = (state.question, state.gate)
        if self._hearing is not None and wanted != self._listening_for:
            self._listening_for = wanted
            self._hearing.listen_for(self._recorder.plan.grammar(*wanted).automaton)

    def _hear(self) -> None:  # noqa: C901 - one case for each kind of event
        """Take what the recogniser has."""
        if self._hearing is None:
            time.sleep(TICK_S)
            return
        match self._hearing.next_event(TICK_S):
            case Utterance() as utterance:
                self._utterance(utterance)
            case HearingRestarted(reason=reason):
                self._speaker.note(f"Hearing {reason}; restarted.")
                self._take(inp.DeviceLost(at=self._recorder.now(), device="recogniser"))
            case MicrophoneGone(name=name):
                self._speaker.note(f"The microphone {name} is lost. Use the keys.")
                self._take(inp.DeviceLost(at=self._recorder.now(), device="microphone"))
            case HearingBack():
                self._take(inp.DeviceFound(at=self._recorder.now(), device="recogniser"))
            case MicrophoneBack():
                self._speaker.note("The microphone is back.")
                self._take(inp.DeviceFound(at=self._recorder.now(), device="microphone"))
            case HearingFailed(problem=problem):
                self._speaker.note(f"{problem.sentence()}. Use the keys.")
                self._hearing = None
                self._take(inp.DeviceLost(at=self._recorder.now(), device="recogniser"))
            case SourceEnded():
                self._hearing = None
                self._take(inp.DeviceLost(at=self._recorder.now(), device="microphone"))
            case SpeechBegan(during_speech=over_voice):
                self._speech_until = self._recorder.now() + SPEECH_MS
                if over_voice:
                    self._hush()
            case NothingSaid():
                self._speech_until = 0
            case None:
                self._monitor_noise(self._hearing)

    def _monitor_noise(self, hearing: Hearing) -> None:
        """Look at the noise in a moment in which nobody speaks."""
        now, state = self._recorder.now(), self._recorder.state
        if self._onlooker is not None:
            self._onlooker.noise(hearing.noise_db)
        if self._speaker.speaking or now < self._speech_until or state.deaf:
            self._sound_monitor.interrupted()
        elif (poor := self._sound_monitor.noise(hearing.noise_db, now)) is not None:
            self._take(poor_sound(poor, now))

    def _utterance(self, utterance: Utterance) -> None:
        question, gate = self._listening_for or (self._recorder.state.question, self._recorder.state.gate)
        now = self._recorder.now()
        self._speech_until = 0
        began = now - utterance.latency_ms - utterance.ended_ms
        kept = self._recorder.state.sound_kept
        sound = self._recorder.keep_sound(utterance.samples, RATE) if kept else None
        plan = self._recorder.plan
        automaton = plan.grammar(question, gate).automaton
        heard = heard_from(utterance, began, now, automaton.identity, sound)
        if utterance.judgement is not None and utterance.judgement.left_out:
            self._speaker.note("The third opinion came too late several times in a row: it is asked no more.")
        best = " ".join(heard.alternatives[0].text) if heard.alternatives else "nothing"
        heard = free_words_put_away(
            heard, automaton, Readings(plan.catalogue.numbers), self._recorder.keep_personal
        )
        if self._onlooker is None:
            self._speaker.note(f"heard: {best}")
        else:
            self._onlooker.utterance(utterance.samples)
        advice = self._advice(utterance, heard, now)
        self._take(*advice, heard)

    def _advice(self, utterance: Utterance, heard: inp.Heard, now: int) -> tuple[inp.SoundPoor, ...]:
        """Return what is to be said of the sound first: nothing over a hazard, and little over a reading."""
        plan, state = self._recorder.plan, self._recorder.state
        if any(plan.catalogue.hazard_of(" ".join(one.text)) for one in heard.alternatives):
            return ()
        lost_blocks = self._hearing.lost_blocks if self._hearing is not None else 0
        reading = state.status != "running" or bool(plan.gate(state.gate).gate.effects.kept_at)
        poor = self._sound_monitor.heard(utterance, lost_blocks, now, busy=reading)
        return () if poor is None else (poor_sound(poor, now),)

    def _nobody_left(self) -> bool:
        return self._hearing is None and (self._keys is None or self._keys.over)

    def _sign(self) -> None:
        """Take a signature where one may be given now; what comes at another moment is not kept."""
        drawn = None if self._signing is None else self._signing.drawn()
        if drawn is None:
            return
        whose, strokes = drawn
        if whose not in may_sign(self._recorder.plan, self._recorder.state):
            self._speaker.note("A signature came when none is taken; it is not kept.")
            return
        kept = inp.PersonalData(commitment=self._recorder.keep_personal(strokes), whose=whose, what="signature")
        gate = self._recorder.state.gate
        self._take(inp.SignatureDrawn(at=self._recorder.now(), gate=gate, signature=kept))

    def _photograph(self) -> None:
        """Take a photo where one is wanted now; what comes at another moment is not kept, and told."""
        for photo in filter(None, (source.photo() for source in self._photos)):
            may = wanted(self._recorder.plan, self._recorder.state)
            gate = photo.gate or next(iter(may), "")
            if gate not in may:
                self._speaker.note("A photo came when none is wanted, or none can be taken; it is not kept.")
                continue
            try:
                commitment = self._recorder.keep_personal(photo.content)
            except Problem as problem:
                self._speaker.note(f"The photo is not kept: {problem.sentence()}")
                continue
            kept = inp.PersonalData(commitment=commitment, whose="customer", what="photo")
            taken = inp.PhotoTaken(at=self._recorder.now(), gate=gate, photo=kept, source=photo.source)
            self._take(taken)

    def _witness(self) -> None:
        """Take what an instrument shows; while a person speaks over the tool it waits."""
        if self._instrument is None or self._cut_short or self._recorder.closed:
            return
        news = self._instrument.news(self._recorder.now())
        if isinstance(news, DeviceChange):
            self._changed(news)
        elif news is not None:
            self._take(news)

    def _changed(self, change: DeviceChange) -> None:
        kind = inp.DeviceLost if change.lost else inp.DeviceFound
        self._take(kind(at=self._recorder.now(), device=change.device))

    def _typed(self) -> None:
        """Take what the keys have: a line, or that some of them are lost or found."""
        if self._keys is None:
            return
        if (change := self._keys.change()) is not None:
            self._changed(change)
            return
        line = self._keys.line()
        if line is None:
            return
        text = line.strip() or enter_means(self._recorder.plan, self._recorder.state)
        if text:
            self._take(inp.Typed(at=self._recorder.now(), text=text))


def poor_sound(poor: Poor, at: int) -> inp.SoundPoor:
    """Return the input that records poor sound."""
    speech_db = None if poor.speech_db is None else Decimal(str(poor.speech_db))
    return inp.SoundPoor(
        at=at,
        fault=poor.fault,
        noise_db=Decimal(str(poor.noise_db)),
        speech_db=speech_db,
        lost_blocks=poor.lost_blocks,
    )


def enter_means(plan: Plan, state: State) -> str:
    """Return what the bare enter key answers at the question at hand; "" when it answers nothing."""
    return keypad(plan, state).plain
