"""A voice read in, listed, used on a visit, and forgotten: the commands, and what the record says of it."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
import typer
from typer.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "hearing"))

from sounds import mixed, spoken

from handsfree.commands.sound import soundcheck
from handsfree.commands.visit_options import VisitOptions
from handsfree.commands.voices import enrolled_voice, stop_words
from handsfree.hearing.enrolment.keeping import KeptVoice, Voices
from handsfree.hearing.enrolment.reading import texts
from handsfree.hearing.enrolment.voice import EnrolledWord
from handsfree.hearing.model_folder import ModelFolder
from handsfree.ledger import state_folder
from handsfree.procedure.languages import english
from handsfree.shipped import model_folder
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder, recorded_events

WHO = "Wanda Made-Up"


@pytest.fixture(autouse=True)
def state(tmp_path, monkeypatch):
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))


@pytest.fixture
def run():
    app = typer.Typer()
    app.command()(soundcheck)
    return lambda *arguments: CliRunner().invoke(app, [str(each) for each in arguments])


def kept(microphone: str = "read.wav", model: str | None = None) -> None:
    said = tuple(EnrolledWord(word, np.ones((9, 24), np.float32)) for word in ("one", "stop"))
    model = model or ModelFolder(model_folder()).identity
    Voices(state_folder()).keep(KeptVoice(WHO, microphone, model, "2026-11-29", said))


def test_who_has_enrolled_is_listed_and_can_be_forgotten(run) -> None:
    assert "Nobody has enrolled a voice on this device." in run("--enrolled").output
    kept()
    assert f'{WHO}: 2026-11-29, "read.wav"' in run("--enrolled").output
    assert f"Deleted: 1, by {WHO}." in run("--forget", WHO.upper()).output.replace(WHO.upper(), WHO)
    assert f"{WHO} has enrolled nothing on this device." in run("--forget", WHO).output
    assert "a voice is read or forgotten, not both" in str(run("--forget", WHO, "--enrol", WHO).exception)


def test_a_visit_hears_with_it_for_this_person_microphone_and_model_alone() -> None:
    """The stop words of the language are never among what is weighed."""
    kept()
    here = VisitOptions(sound=Path("folder/read.wav"))
    voice, why = enrolled_voice(here, WHO, english())
    assert voice is not None
    assert ({one.word for one in voice.said}, why) == ({"one"}, "")
    assert enrolled_voice(here, "Somebody Else", english()) == (None, "")
    assert enrolled_voice(VisitOptions(typed=True), WHO, english()) == (None, "")
    other, why = enrolled_voice(VisitOptions(sound=Path("phone")), WHO, english())
    assert other is None
    assert why.count(".") == 1
    assert "the microphone is another" in why


def test_no_number_is_read_that_a_stop_phrase_needs() -> None:
    """Else it would be asked for in vain: it is left out."""
    assert not {word for text in texts().read for word in text.split()} & stop_words(english())


def test_the_record_says_whether_an_enrolment_was_used(tmp_path, procedure, jobsheet) -> None:
    """In its first entry and where the visit goes on; nothing else of it stands there."""
    plan, sources = load_plan(procedure, jobsheet)
    recorder, _ = Recorder.begin(tmp_path / "visit", plan, sources, enrolled=True)
    recorder.release()
    recorder, _ = Recorder.resume(tmp_path / "visit")
    recorder.release()
    told = [event.enrolled for event in recorded_events(tmp_path / "visit") if hasattr(event, "enrolled")]
    assert told == [True, False]


def read_aloud(path: Path, *wanted: str) -> Path:
    """Write a sound file in which the voice reads texts, with a pause after each."""
    parts = [part for text in wanted for part in (text, 0.9)]
    soundfile.write(path, mixed(spoken(1.5, *parts), 40), 16_000)
    return path


def test_who_leaves_leaves_nothing_behind(run, tmp_path) -> None:
    result = run("--enrol", WHO, "--file", read_aloud(tmp_path / "left.wav", texts().read[0], "not now"))
    assert f"2/{len(texts().read)}  {texts().read[1]}" in result.output
    assert "Left. Nothing is kept." in result.output
    assert "there is no enrolment" in str(result.exception)
    assert Voices(state_folder()).kept() == ()


@pytest.mark.slow("a voice reads all forty texts, a minute of sound")
def test_a_minute_of_reading_is_kept(run, tmp_path) -> None:
    file = read_aloud(tmp_path / "read.wav", *texts().read)
    assert soundfile.info(file).duration < 90
    result = run("--enrol", WHO, "--file", file)
    assert f'Kept on this device alone, for {WHO} and the microphone "read.wav".' in result.output
    voice, _ = enrolled_voice(VisitOptions(sound=file), WHO, english())
    assert voice is not None
    right, of = voice.likest_to_themselves()
    assert right >= 0.5 * of
