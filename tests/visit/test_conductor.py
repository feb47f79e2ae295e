"""The live loop with a scripted recogniser and a told clock: talk-over, a lost recogniser, poor sound."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from recorded import ToldClock
from rehearsed import JOB_SHEET, PROCEDURE

from handsfree.events import inputs as inp
from handsfree.events.devices import DeviceChange
from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.general.judging import GeneralJudgement
from handsfree.hearing.listener import NothingSaid, SpeechBegan, Utterance
from handsfree.hearing.worker import (
    HearingBack,
    HearingFailed,
    HearingRestarted,
    MicrophoneBack,
    MicrophoneGone,
    SourceEnded,
)
from handsfree.ledger import read
from handsfree.problem import ExitCode, Problem
from handsfree.visit.conductor import SPEECH_MS, Conductor
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

ANSWER = "told"

INPUT_KINDS = {kind.model_fields["kind"].default for kind in get_args(get_args(inp.Input)[0])}


class Mouth:
    """Speaks until it is told that it has ended."""

    def __init__(self) -> None:
        self.speaking = False
        self.said: list[list[str]] = []
        self.notes: list[str] = []
        self.cuts = 0

    def say(self, texts: Sequence[str], tones: Sequence[str]) -> None:
        self.said.append(list(texts))
        self.speaking = True

    def cut(self) -> None:
        self.cuts += 1
        self.speaking = False

    def note(self, text: str) -> None:
        self.notes.append(text)


class Script:
    """Ears and keys from a list of steps: an event is heard, a text typed, a function called at its turn."""

    def __init__(self, steps: Sequence[Any]) -> None:
        self.steps = deque(steps)
        self.noise_db, self.lost_blocks, self.over = -60.0, 0, False
        self.behind_ms = 0.0

    def listen_for(self, _grammar: object) -> None:
        """Any."""

    def next_event(self, _patience_s: float) -> Any:
        self._turns()
        return self.steps.popleft() if self.steps and not isinstance(self.steps[0], str | DeviceChange) else None

    def _turns(self) -> None:
        while self.steps and callable(self.steps[0]):
            self.steps.popleft()()

    def line(self) -> str | None:
        self._turns()
        if not self.steps:
            raise KeyboardInterrupt
        return self.steps.popleft() if isinstance(self.steps[0], str) else None

    def change(self) -> DeviceChange | None:
        return self.steps.popleft() if self.steps and isinstance(self.steps[0], DeviceChange) else None


@cache
def loaded() -> Any:
    """The shipped procedure with the demo's sheets."""
    return load_plan(PROCEDURE, JOB_SHEET)


class Stage:
    """A visit on disk with its mouth and clock, conducted through a script of steps."""

    def __init__(self, folder: Path) -> None:
        plan, kept = loaded()
        self.clock, self.speaker = ToldClock(), Mouth()
        self.recorder, self.opening = Recorder.begin(folder, plan, kept, clock=self.clock)

    def play(self, *steps: Any) -> None:
        """Take the steps from the second gate on, whose question is being said."""
        script: Any = Script([self.silent, "the same", *steps])
        self.script = script
        conductor = Conductor(self.recorder, self.speaker, script, script)
        with pytest.raises(KeyboardInterrupt):
            conductor.run(self.opening)
        self.opening = ()

    def silent(self) -> None:
        """The tool has said all."""
        self.speaker.speaking = False

    def later(self, milliseconds: int) -> Callable[[], None]:
        return lambda: self.clock.pass_ms(milliseconds)

    def recorded(self, kind: str) -> list[Any]:
        return [entry.event for entry in read(self.recorder.folder) if entry.kind == kind]

    @property
    def question(self) -> str:
        return self.recorder.state.text


@pytest.fixture
def stage(tmp_path: Path, keys: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Stage]:
    monkeypatch.setenv("HANDSFREE_STATE", str(keys))
    made = Stage(tmp_path / "visit")
    yield made
    made.recorder.release()


def said(text: str, speech_db: float = -20.0, *, clipped: bool = False, noise_db: float = -60.0) -> Utterance:
    words = tuple(SpokenWord(word, 100 * n, 100 * n + 90, Decimal(1)) for n, word in enumerate(text.split()))
    return Utterance(
        alternatives=(Hypothesis(words, Decimal(0)),),
        fragment=(),
        started_ms=0,
        ended_ms=500,
        during_speech=False,
        overflow=False,
        clipped=clipped,
        noise_db=noise_db,
        speech_db=speech_db,
        latency_ms=250,
        samples=np.zeros(8000, np.int16),
    )


OVER = SpeechBegan(0, during_speech=True)


def test_a_machine_too_slow_for_the_third_opinion_is_told_once(stage: Stage) -> None:
    late = GeneralJudgement("test", late=True)
    found = [replace(said("[unk]"), judgement=one) for one in (late, replace(late, left_out=True), None)]
    stage.play(stage.silent, *found)
    assert [note for note in stage.speaker.notes if "third opinion" in note] == [
        "The third opinion came too late several times in a row: it is asked no more."
    ]


@pytest.mark.parametrize(("noise_db", "told"), [(-60.0, "40"), (-25.6, "6"), (-90.0, None)])
def test_the_record_tells_how_far_the_speech_stood_above_the_noise(
    stage: Stage, noise_db: float, told: str | None
) -> None:
    """In whole dB; a line that was silent, or was not listened to before, tells of no noise."""
    stage.play(said(ANSWER, -20.0, noise_db=noise_db))
    assert [heard["above_noise_db"] for heard in stage.recorded("heard")] == [told]


def test_speech_over_the_tool_cuts_its_voice_and_is_an_answer(stage: Stage) -> None:
    """The voice falls silent at the beginning of speech, not at its end; the record says that it was cut."""

    def look() -> None:
        assert stage.speaker.cuts == 1
        assert not stage.speaker.speaking
        assert stage.recorded("speech-ended") == []

    stage.play(OVER, look, said(ANSWER))
    assert stage.recorder.state.gate != "permission"
    assert [event["cut"] for event in stage.recorded("speech-ended")] == [True]


def test_what_a_cough_cut_off_is_said_again(stage: Stage) -> None:
    stage.play(OVER, NothingSaid(0), None, None)
    assert len(stage.speaker.said) == 3
    assert stage.speaker.said[1] == stage.speaker.said[2]
    assert stage.recorder.state.speaking


def test_what_was_cut_off_is_said_again_when_no_end_of_the_speech_is_told(stage: Stage) -> None:
    stage.play(OVER, stage.later(SPEECH_MS - 100), None, stage.later(200), None, None)
    assert len(stage.speaker.said) == 3


def test_speech_in_silence_cuts_nothing(stage: Stage) -> None:
    stage.play(stage.silent, SpeechBegan(0, during_speech=False), said(ANSWER))
    assert stage.speaker.cuts == 0
    assert stage.recorder.state.gate != "permission"


def test_the_cautions_at_the_beginning_are_said_to_their_end(stage: Stage) -> None:
    """Nobody can talk over them; speech over them is none of the answers."""
    script: Any = Script([OVER, None])
    with pytest.raises(KeyboardInterrupt):
        Conductor(stage.recorder, stage.speaker, script, script).run(stage.opening)
    assert stage.speaker.cuts == 0
    assert stage.speaker.speaking


def test_the_script_that_stops_the_work_is_never_cut(stage: Stage) -> None:
    stage.play(stage.silent, said("gas smell"), OVER, OVER)
    assert stage.recorder.state.status == "stopped"
    assert stage.speaker.cuts == 0
    assert stage.speaker.said[-1][0].startswith("Gas. Touch no switch.")


@pytest.mark.parametrize(
    ("lost", "back", "device", "told"),
    [
        (
            MicrophoneGone("headset", 0),
            MicrophoneBack("headset", 0),
            "microphone",
            "Microphone lost. Use the keys.",
        ),
        (HearingRestarted("ended by SIGSEGV", 0), HearingBack(0), "recogniser", "Hearing lost. Use the keys."),
    ],
)
def test_a_lost_recogniser_is_told_on_the_screen_and_aloud_and_the_visit_waits(
    stage: Stage, lost: Any, back: Any, device: str, told: str
) -> None:
    """Minutes pass and nothing is asked again; the keys work; then the recogniser is there again."""
    stage.play(
        stage.silent,
        lost,
        None,
        stage.silent,
        None,
        stage.later(200_000),
        None,
        None,
        ANSWER,
        stage.silent,
        back,
        None,
    )
    assert stage.speaker.said[2][0] == told
    assert stage.speaker.notes
    assert stage.recorded("time-passed") == []
    assert stage.recorded("device-lost")[0]["device"] == device
    assert stage.recorded("device-found")[0]["device"] == device
    assert stage.recorder.state.gate != "permission"
    assert stage.speaker.said[-1][0] == "Hearing again."
    assert stage.speaker.said[-1][-1] == stage.question


def test_without_any_microphone_the_visit_goes_on_by_the_keys(stage: Stage) -> None:
    """One clear sentence, and the question is asked after it."""
    stage.play(HearingFailed(Problem("no microphone found", remedy="plug one in")), stage.silent, ANSWER)
    assert any("no microphone found" in note and "Use the keys." in note for note in stage.speaker.notes)
    assert stage.recorder.state.gate not in {"site", "permission"}


def test_keys_that_are_lost_are_told_and_the_ears_go_on(stage: Stage) -> None:
    """The end of typed input is recorded and spoken once; what is heard then still counts."""
    stage.play(stage.silent, DeviceChange("keys", lost=True), None, stage.silent, said(ANSWER))
    assert stage.recorded("device-lost")[0]["device"] == "keys"
    assert stage.speaker.said[2][0] == "Keys lost."
    assert stage.recorder.state.gate not in {"site", "permission"}


def test_sound_that_ends_is_told_and_the_keys_go_on(stage: Stage) -> None:
    """A file heard to its end is a microphone that is lost."""
    stage.play(stage.silent, SourceEnded(0), stage.silent, ANSWER)
    assert stage.recorded("device-lost")[0]["device"] == "microphone"
    assert stage.recorder.state.gate not in {"site", "permission"}


def test_without_microphone_and_keys_the_visit_is_left_open(stage: Stage) -> None:
    recogniser: Any = Script([HearingFailed(Problem("no microphone found"))])
    assert Conductor(stage.recorder, stage.speaker, None, recogniser).run(stage.opening) is ExitCode.LEFT_OPEN


def test_too_much_noise_is_said_once_and_points_to_the_keys(stage: Stage) -> None:
    """Not question after question: of seven utterances not understood in noise the third brings the word."""
    noisy = [said("[unk]", -30.0, noise_db=-31.0) for _ in range(7)]
    steps = [step for one in noisy for step in (stage.silent, one)]
    stage.play(*steps)
    spoken = [text for texts in stage.speaker.said for text in texts]
    assert spoken.count("Too noisy. Use the keys.") == 1
    (poor,) = stage.recorded("sound-poor")
    assert poor == {
        "at": poor["at"], "fault": "too-noisy", "noise_db": "-31.0", "speech_db": "-30.0", "lost_blocks": 0
    }  # fmt: skip
    assert next(n for n, texts in enumerate(stage.speaker.said) if "Too noisy. Use the keys." in texts) == 4


def test_noise_that_drowns_all_speech_is_told_without_any_utterance(stage: Stage) -> None:
    """Once a person's usual level is known, the noise alone shows it, when it has stood for ten seconds."""
    script: Any = Script([])

    def louder() -> None:
        script.noise_db = -15.0

    quiet = [step for _ in range(3) for step in (stage.silent, said("[unk]", -20.0))]
    script.steps.extend(
        [
            *quiet,
            stage.silent,
            louder,
            None,
            stage.later(9_000),
            None,
            stage.silent,
            None,
            stage.later(2_000),
            None,
        ]
    )
    with pytest.raises(KeyboardInterrupt):
        Conductor(stage.recorder, stage.speaker, script, script).run(stage.opening)
    assert [event["fault"] for event in stage.recorded("sound-poor")] == ["too-noisy"]


def test_clipped_speech_is_advised_on_once_in_a_while(stage: Stage) -> None:
    loud = [step for _ in range(6) for step in (stage.silent, said("[unk]", -8.0, clipped=True))]
    stage.play(*loud, stage.later(301_000), stage.silent, None, stage.silent, said("[unk]", clipped=True))
    assert [event["fault"] for event in stage.recorded("sound-poor")] == ["too-loud", "too-loud"]


def test_a_hazard_is_never_kept_waiting_by_advice(stage: Stage) -> None:
    noisy = [step for _ in range(2) for step in (stage.silent, said("[unk]", -30.0, noise_db=-31.0))]
    stage.play(*noisy, stage.silent, said("gas smell", -30.0, noise_db=-31.0))
    assert stage.speaker.said[-1][0].startswith("Gas.")
    assert stage.recorded("sound-poor") == []


def test_what_comes_in_is_recorded_as_it_is_defined(stage: Stage) -> None:
    """The record names only inputs of the session."""
    stage.play(OVER, said(ANSWER))
    kinds = {entry.kind for entry in read(stage.recorder.folder)}
    assert {"speech-ended", "heard"} <= kinds & INPUT_KINDS


@pytest.mark.parametrize(("behind_ms", "taken"), [(0.0, True), (900.0, True), (2_000.0, False), (60_000.0, False)])
def test_the_lag_of_the_recogniser_is_not_taken_for_silence(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, behind_ms: float, taken: bool
) -> None:
    """A second after the time for an answer a recogniser that lags further cannot know; 3 s are waited at most."""
    taken_at: list[int] = []
    due: list[int] = []
    take = stage.recorder.take

    def took(event: inp.Input) -> Sequence[Any]:
        if not isinstance(event, inp.TimePassed):
            return take(event)
        taken_at.append(event.at)
        return ()

    def late() -> None:
        stage.script.behind_ms = behind_ms
        due.append(stage.recorder.now() + 5_000)
        stage.clock.pass_ms(6_000)

    monkeypatch.setattr(stage.recorder, "take", took)
    monkeypatch.setattr(stage.recorder, "deadline", lambda: due[0] if due and not taken_at else None)
    nothing = NothingSaid(0)
    stage.play(stage.silent, nothing, late, nothing, nothing, stage.later(2_500), nothing, nothing)
    assert taken_at == [due[0] + (1_000 if taken else 3_500)]


def test_a_visit_without_sound_keeps_words_and_scores_and_no_clip(stage: Stage) -> None:
    stage.recorder.state = replace(stage.recorder.state, sound_kept=False)
    stage.play(stage.silent, said(ANSWER))
    (heard,) = stage.recorded("heard")
    assert heard["sound"] is None
    assert [word["word"] for word in heard["alternatives"][0]["words"]] == ANSWER.split()
    assert list((stage.recorder.folder / "sound").iterdir()) == []
    assert stage.recorder.state.gate != "permission"
