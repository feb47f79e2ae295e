"""Free words as the general recogniser writes them: kept apart, told back, searched, erased; never an answer."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from recorded import ToldClock
from rehearsed import JOB_SHEET

from handsfree.desk.examination import examine
from handsfree.desk.lines import lines
from handsfree.desk.record import load
from handsfree.events import inputs as inp
from handsfree.glance.watching import LiveScreen
from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.general.judging import GeneralJudgement
from handsfree.hearing.listener import Utterance
from handsfree.ledger import read, verify
from handsfree.store.embedded import open_embedded
from handsfree.store.kept import NotedVisit
from handsfree.store.wanted import ListWanted
from handsfree.visit.conductor import Conductor
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder
from handsfree.visit.replaying import replay_of

PROCEDURE = """\
handsfree: 2
procedure: small
title: Notes, tried
purpose: Notes are taken.
gates:
  - {id: flue, kind: confirm, title: Flue, source: a test, prompt: Look at the flue., done: [looked at]}
  - {id: trap, kind: choice, title: Trap, source: a test, prompt: Is the trap filled?,
     not_done: false, answers: {filled: {heard: [trap filled], then: finish},
     advised: {heard: [advised], note: true, then: finish}}}
  - {id: finish, kind: finish, title: Finish, source: none}
"""
NOTE = "Mrs. Inventedly says nine point three, stop by on Monday; the lower clip of the flue is loose today."


class Mouth:
    """Keeps what it is to say."""

    speaking = False

    def __init__(self) -> None:
        self.said: list[str] = []

    def say(self, texts: list[str], tones: object) -> None:
        self.said += texts

    def cut(self) -> None:
        pass

    def note(self, text: str) -> None:
        pass


class House:
    """A small visit that is heard with the third opinion."""

    def __init__(self, folder: Path) -> None:
        file = folder / "small.yaml"
        file.write_text(PROCEDURE, encoding="utf-8")
        self.recorder, _ = Recorder.begin(folder / "visit", *load_plan(file, JOB_SHEET), clock=ToldClock())
        self.live, self.mouth = LiveScreen(self.recorder, listening=False, words=False), Mouth()
        self.conductor = Conductor(self.recorder, self.mouth, None, None, self.live)

    def hears(self, words: str, written: str = "") -> list[str]:
        """Let an utterance be heard as our ears have it and as the other writes it; return what is said."""
        self.recorder.take(inp.SpeechEnded(at=self.recorder.now()))
        self.mouth.said = []
        spoken = tuple(SpokenWord(word, 0, 900, Decimal(1)) for word in words.split())
        judgement = GeneralJudgement("test", written, Decimal(-9)) if written else None
        self.conductor._utterance(
            Utterance((Hypothesis(spoken, Decimal(0)),), (), 0, 900, False, False, False, -60.0, -20.0, 0,
                      np.zeros(16_000, np.int16), judgement)
        )  # fmt: skip
        return self.mouth.said

    @property
    def folder(self) -> Path:
        return self.recorder.folder

    def event(self, kind: str) -> dict[str, object]:
        return [entry.event for entry in read(self.folder) if entry.kind == kind][-1]

    def clear(self) -> bytes:
        return (self.folder / "ledger.jsonl").read_bytes()


@pytest.fixture
def house(tmp_path: Path, keys: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[House]:
    monkeypatch.setenv("HANDSFREE_STATE", str(keys))
    made = House(tmp_path)
    yield made
    made.recorder.release()


def test_a_note_is_written_said_back_in_short_shown_searched_and_gone_with_its_file(
    house: House, tmp_path: Path
) -> None:
    house.hears("take a note", "Take a note.")
    assert house.event("heard")["general"]["text"] == "Take a note.", "a sentence of the grammar stands in clear"  # type: ignore[index]
    said = house.hears("[unk]", NOTE)
    assert said[1] == "Written: Mrs. Inventedly says nine point three, stop by on Monday; the lower …"
    assert NOTE in house.live.picture().heard.text
    assert (house.recorder.state.gate, house.recorder.state.status) == ("flue", "running"), "it answers nothing"
    assert house.event("noted")["sound"]
    assert b"Inventedly" not in house.clear()
    assert house.event("heard")["general"]["words"]["whose"] == "technician"  # type: ignore[index]
    house.recorder.release()
    found = verify(house.folder, replay=replay_of(house.folder)).findings
    assert [one.fault for one in found] == ["close missing"]

    talk = lines(load(house.folder))
    assert [line.notes[0] for line in talk if line.text == NOTE] == ["machine-written"]
    assert f"Note: {NOTE} (machine-written)" in [line.text for line in talk]
    store = open_embedded(tmp_path / "store")
    store.note([NotedVisit("one", "visit", "1", {})])
    store.keep("one", examine(house.folder))
    assert [store.find(ListWanted(words=words))[1] for words in ("inventedly clip", "inventedly dog")] == [1, 0]

    (house.folder / "personal" / house.event("heard")["general"]["words"]["commitment"]).unlink()  # type: ignore[index]
    gone = [line.text for line in lines(load(house.folder))]
    assert "Note: (no longer here) (machine-written)" in gone
    assert not any("Inventedly" in text for text in gone)


def test_a_reason_and_a_finding_are_written_too(house: House) -> None:
    assert house.hears("not done because [unk]", "Not done because it is walled in.")[1].endswith("walled in.")
    assert house.event("not-done")["reason"].endswith(" (machine-written)")  # type: ignore[attr-defined]
    house.hears("advised", "Advised.")
    assert house.hears("[unk]", "A clip is missing.")[0] == "Written: A clip is missing."
    assert str(house.event("noted")["text"]).startswith("personal:")


def test_without_the_other_there_is_sound_alone_and_talk_not_for_us_is_not_written_down(house: House) -> None:
    house.hears("take a note")
    assert house.hears("[unk]")[0] == "Noted."
    assert house.event("noted")["text"] == ""
    house.hears("[unk]", "Where did you park the van?")
    assert house.event("heard")["general"] == {"member": "test", "text": "", "words": None, "likelihood": "-9",
                                               "late": False, "stop_alone": False, "phones": None,
                                               "phone_network": "", "habit": None}  # fmt: skip
    assert not any(b"park" in file.read_bytes() for file in house.folder.rglob("*") if file.is_file())
