"""Whether sound is kept is asked before the first gate, kept in the record, and held to."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from recorded import ToldClock
from rehearsed import JOB_SHEET

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.ledger import verify
from handsfree.session.plan import Plan
from handsfree.shipped import procedure_path
from handsfree.visit.folder import JOB_SHEET as SHEET
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder, recorded_events, spoken
from handsfree.visit.replaying import replay_of

Begun = Callable[..., tuple[Recorder, list[str]]]
ASKED = "Keep the sound? Everybody here must agree."


@pytest.fixture(scope="module")
def loaded() -> tuple[Plan, dict[str, bytes]]:
    """The demo's plan and files, once."""
    return load_plan(procedure_path("safe-isolation"), JOB_SHEET)


@pytest.fixture
def begun(
    tmp_path: Path, keys: Path, loaded: tuple[Plan, dict[str, bytes]], monkeypatch: pytest.MonkeyPatch
) -> Iterator[Begun]:
    """What begins a visit from the demo's job sheet with other words about sound; none of itself."""
    monkeypatch.setenv("HANDSFREE_STATE", str(keys))
    made: list[Recorder] = []

    def begin(sound: str = "", *, hears: bool = True) -> tuple[Recorder, list[str]]:
        plan, kept = loaded
        assert b"sound: kept\n" in kept[SHEET]
        sheet = kept[SHEET].replace(b"sound: kept\n", sound.encode())
        begun = Recorder.begin(tmp_path / "visit", plan, {**kept, SHEET: sheet}, clock=ToldClock(), hears=hears)
        made.append(begun[0])
        return begun[0], spoken(begun[1])

    yield begin
    for recorder in made:
        recorder.release()


def answer(recorder: Recorder, words: str, at: int = 5_000) -> list[str]:
    recorder.take(inp.SpeechEnded(at=at))
    return spoken(recorder.take(inp.Typed(at=at + 1_000, text=words)))


@pytest.mark.parametrize(("words", "kept", "said"), [
    ("yes", True, "Sound is kept. Tell everybody here."), ("no", False, "No sound is kept."),
])  # fmt: skip
def test_it_is_asked_first_kept_and_decided_again(begun: Begun, words: str, kept: bool, said: str) -> None:
    recorder, opening = begun()
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


def test_a_hazard_is_heard_before_it_is_answered(begun: Begun) -> None:
    recorder, _ = begun()
    answer(recorder, "I smell gas")
    assert recorder.state.status == "stopped"


def test_the_gate_behind_it_is_not_left_by_it(begun: Begun) -> None:
    """That gate was not asked yet, so "not done" says nothing of it."""
    recorder, _ = begun()
    gate = recorder.state.gate
    assert answer(recorder, "not done because out of reach")[-1] == ASKED
    assert (recorder.state.gate, recorder.state.consent_due) == (gate, True)


@pytest.mark.parametrize(("choice", "kept"), [("kept", True), ("not kept", False)])
def test_what_the_sheet_says_is_told_and_not_asked(begun: Begun, choice: str, kept: bool) -> None:
    recorder, opening = begun(f"sound: {choice}\n")
    assert ASKED not in opening
    assert any("ound is kept" in text for text in opening)
    assert recorder.state.sound_kept is kept


@pytest.mark.parametrize(("sheet", "kept"), [("", False), ("sound: not kept\n", False), ("sound: kept\n", True)])
def test_a_visit_by_keys_asks_nothing_and_heard_later_keeps_what_was_agreed_to(
    begun: Begun, sheet: str, kept: bool
) -> None:
    recorder, opening = begun(sheet, hears=False)
    assert not [text for text in opening if "sound" in text.lower()]
    assert recorder.state.sound_kept is kept
