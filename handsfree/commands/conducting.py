"""Setting a visit up: folder, ears, voice and keys; and what is said when it ends or is interrupted."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Self

import numpy as np

from handsfree.commands.showing import Screen, shown
from handsfree.commands.way import Way
from handsfree.events import decisions as ev
from handsfree.hearing.microphone import Microphone
from handsfree.hearing.model_folder import ModelFolder
from handsfree.hearing.sources import SoundFile, SoundFolder, Source
from handsfree.hearing.worker import Hearing, HearingPlan, recogniser_of
from handsfree.problem import ExitCode, Problem
from handsfree.session.plan import Plan
from handsfree.shipped import model_folder
from handsfree.speaking import tones
from handsfree.speaking.sound import Sound
from handsfree.speaking.voice import Voice, VoiceSettings
from handsfree.speaking.worker import Loudspeaker
from handsfree.visit.conductor import Conductor
from handsfree.visit.folder import load_plan, plan_of
from handsfree.visit.recorder import Recorder, recorded_events

BETWEEN_MS = 120
"""Of silence between two sentences; before the first it would only delay the answer."""

TONES = {"attention": tones.attention, "alarm": tones.alarm}


def conduct_new(procedure: Path, job_sheet: Path, out: Path | None, way: Way) -> ExitCode:
    """Begin a visit in a new folder and lead it."""
    plan, kept = load_plan(procedure, job_sheet)
    folder = out or Path("visits") / f"{time.strftime('%Y-%m-%d-%H%M%S')}-{plan.sheets.job.job}"
    model = _model_sha256(way, plan)
    recorder, opening = Recorder.begin(folder, plan, kept, model_sha256=model)
    return _conduct(recorder, opening, way)


def conduct_resumed(folder: Path, way: Way) -> ExitCode:
    """Go on with an interrupted visit."""
    past = recorded_events(folder)
    opened = next((event for event in past if isinstance(event, ev.VisitOpened)), None)
    if opened is not None:
        _model_sha256(way, plan_of(folder, opened.procedure))
    recorder, opening = Recorder.resume(folder)
    return _conduct(recorder, opening, way, past)


def _conduct(
    recorder: Recorder, opening: Sequence[ev.Decision], way: Way, past: Sequence[object] = ()
) -> ExitCode:
    code = ExitCode.LEFT_OPEN
    try:
        with (
            shown(recorder, way, past) as screen,
            _ears(recorder, way) as hearing,
            _Mouth(way, hearing, screen, recorder.plan.catalogue.voice) as mouth,
        ):
            conductor = Conductor(
                recorder, mouth, screen.keys, hearing, screen.watch, alert_command=way.alert_command
            )
            code = conductor.run(opening)
            if recorder.closed:
                mouth.say([_closing(recorder)], [])
                mouth.wait()
        if recorder.closed and not screen.lines:
            sys.stdout.write(f"{_closing(recorder)}\n")
    except KeyboardInterrupt:
        code = ExitCode.LEFT_OPEN
    finally:
        recorder.release()
        if not recorder.closed:
            sys.stderr.write(_left_open(recorder))
    return code


def _closing(recorder: Recorder) -> str:
    head = recorder.head()
    state = recorder.state
    saying = {"finished": "finished", "incomplete": "left-incomplete"}.get(state.outcome, "closed-stopped")
    lacking = ", ".join(one.what for one in state.lacking)
    return recorder.plan.catalogue.say(saying, what=lacking, count=str(head.count), checksum=head.checksum)


def _left_open(recorder: Recorder) -> str:
    things = ", ".join(recorder.plan.things[thing].said for thing in recorder.state.altered) or "nothing"
    return (
        f"Left open at {recorder.state.gate}. Still altered: {things}. Go on: handsfree resume {recorder.folder}\n"
    )


def _source(way: Way) -> Source | None:
    """Return what is listened to, or None for keys alone."""
    if way.typed:
        return None
    if way.sound is not None:
        return SoundFolder(way.sound, paced=True) if way.sound.is_dir() else SoundFile(way.sound, paced=True)
    return Microphone(way.microphone)


def _model_sha256(way: Way, plan: Plan) -> str | None:
    """Return the identity of the model heard with; Problem when it cannot hear the words of the visit."""
    if way.typed:
        return None
    folder = ModelFolder.check(way.model or model_folder())
    folder.require(plan.words, plan.pronunciations, plan.catalogue.language)
    return folder.identity


@contextlib.contextmanager
def _ears(recorder: Recorder, way: Way) -> Iterator[Hearing | None]:
    source = _source(way)
    if source is None:
        yield None
        return
    ears = partial(recogniser_of, way.model or model_folder(), recorder.plan.pronunciations)
    hearing = Hearing(HearingPlan(source, ears, recorder.plan.stop_grammar.automaton, way.headset))
    try:
        yield hearing
    finally:
        hearing.close()


class _Mouth:
    """Prints every line where there is no screen and, unless silent, speaks it through the loudspeaker."""

    def __init__(self, way: Way, hearing: Hearing | None, screen: Screen, voice: str) -> None:
        self._screen = screen
        self._voice = None if way.silent else Voice(VoiceSettings(voice))
        on_change = hearing.tool_speaks if hearing is not None else None
        self._loudspeaker: Loudspeaker | None = None
        if self._voice is not None:
            try:
                self._loudspeaker = Loudspeaker(on_change=on_change, on_trouble=self._trouble)
            except Problem as problem:
                self.note(problem.sentence())
        self._noticed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._loudspeaker is not None:
            self._loudspeaker.close()
        if self._voice is not None:
            self._voice.close()

    @property
    def speaking(self) -> bool:
        """Whether the tool can be heard now."""
        return self._loudspeaker is not None and self._loudspeaker.speaking

    def say(self, texts: Sequence[str], tones: Sequence[str]) -> None:
        """Print and speak, in place of what is being said."""
        if self._screen.lines:
            for text in texts:
                sys.stdout.write(f"{text}\n")
            sys.stdout.flush()
        sounds = [TONES[name]() for name in tones]
        sounds += [sound for text in texts if (sound := self._rendered(text)) is not None]
        if sounds and self._loudspeaker is not None:
            rate = sounds[-1].rate
            first, *others = (sound.at_rate(rate) for sound in sounds)
            joined = [first.samples, *(sound.after_silence(BETWEEN_MS).samples for sound in others)]
            self._loudspeaker.play(Sound(np.concatenate(joined), rate))

    def cut(self) -> None:
        """Fall silent at once."""
        if self._loudspeaker is not None:
            self._loudspeaker.cut()

    def note(self, text: str) -> None:
        """Show a line that is not spoken."""
        if self._screen.watch is not None:
            self._screen.watch.notice(text)
        if self._screen.lines:
            sys.stderr.write(f"  {text}\n")
            sys.stderr.flush()

    def wait(self) -> None:
        """Let the last words be heard."""
        if self._loudspeaker is not None:
            self._loudspeaker.wait(20.0)

    def _rendered(self, text: str) -> Sound | None:
        if self._voice is None:
            return None
        sound = self._voice.render(text)
        if sound is None and self._voice.notice and not self._noticed:
            self._noticed = True
            self.note(self._voice.notice)
        return sound

    def _trouble(self, sentence: str | None) -> None:
        if sentence:
            self.note(sentence)
