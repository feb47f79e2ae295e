"""Whether sound is kept is asked before the first gate, kept in the record, and held to."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from recorded import ToldClock
from rehearsed import JOB_SHEET

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.ledger import verify
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder, recorded_events, spoken
from handsfree.visit.replaying import replay_of

ASKED = "Keep the sound? Everybody here must agree."


@pytest.fixture
def sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo's job sheet, which says nothing of sound."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    text = JOB_SHEET.read_text(encoding="utf-8")
    assert "sound: kept\n" in text
    (tmp_path / "appliance-24.yaml").write_bytes((JOB_SHEET.parent / "appliance-24.yaml").read_bytes())
    file = tmp_path / "jobsheet.yaml"
    file.write_text(text.replace("sound: kept\n", ""), encoding="utf-8")
    return file


def begun(sheet: Path, *, hears: bool = True) -> tuple[Recorder, list[str]]:
    plan, kept = load_plan(procedure_path("safe-isolation"), sheet)
    recorder, events = Recorder.begin(sheet.parent / "visit", plan, kept, clock=ToldClock(), hears=hears)
    return recorder, spoken(events)


def answer(recorder: Recorder, words: str, at: int = 5_000) -> list[str]:
    recorder.take(inp.SpeechEnded(at=at))
    return spoken(recorder.take(inp.Typed(at=at + 1_000, text=words)))


@pytest.mark.parametrize(("words", "kept", "said"), [
    ("yes", True, "Sound is kept. Tell everybody here."), ("no", False, "No sound is kept."),
])  # fmt: skip
def test_it_is_asked_first_kept_and_decided_again(sheet: Path, words: str, kept: bool, said: str) -> None:
    recorder, opening = begun(sheet)
    assert opening[-1] == ASKED
    assert not recorder.state.sound_kept
    assert answer(recorder, "told")[-1] == ASKED, "an answer to the first gate is none to this"
    told = answer(recorder, words, 20_000)
    assert told[0] == said
    assert len(told) == 2, "then the first gate asks"
    assert recorder.state.sound_kept is kept
    folder = recorder.folder
    recorder.release()
    (consent,) = [event for event in recorded_events(folder) if isinstance(event, ev.SoundConsent)]
    assert consent.kept is kept
    assert not [
        each for each in verify(folder, replay=replay_of(folder)).findings if each.fault != "close missing"
    ]


def test_a_hazard_is_heard_before_it_is_answered(sheet: Path) -> None:
    recorder, _ = begun(sheet)
    answer(recorder, "I smell gas")
    assert recorder.state.status == "stopped"


@pytest.mark.parametrize(("choice", "kept"), [("kept", True), ("not kept", False)])
def test_what_the_sheet_says_is_told_and_not_asked(sheet: Path, choice: str, kept: bool) -> None:
    sheet.write_text(sheet.read_text() + f"sound: {choice}\n")
    recorder, opening = begun(sheet)
    assert ASKED not in opening
    assert any("ound is kept" in text for text in opening)
    assert recorder.state.sound_kept is kept


def test_a_visit_by_keys_asks_nothing_of_sound(sheet: Path) -> None:
    recorder, opening = begun(sheet, hears=False)
    assert not [text for text in opening if "sound" in text.lower()]
    assert recorder.state.sound_kept
    recorder.keep_sound(np.zeros(1600, np.int16), 16_000)
