"""The instrument as second witness, through the real session, a real pipe, a terminal line, a file that grows."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from mouth import Mouth
from recorded import ToldClock
from rehearsed import JOB_SHEET

from handsfree.desk.concerns import concerns_of
from handsfree.desk.customer import customers_page
from handsfree.desk.dossier import open_dossier
from handsfree.desk.paper import paper_of
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.devices import DeviceChange
from handsfree.instruments.mapping import MappingFile, load_mapping
from handsfree.ledger import verify
from handsfree.measurement.agreement import room
from handsfree.measurement.uncertainty import combined, expanded, of_resolution
from handsfree.problem import Problem
from handsfree.session.witness import WINDOW_MS
from handsfree.visit.conductor import Conductor
from handsfree.visit.folder import load_plan
from handsfree.visit.instrument import SILENT_MS, FollowedInstrument
from handsfree.visit.recorder import Recorder, spoken
from handsfree.visit.replaying import replay_of

PROCEDURE = """\
handsfree: 2
procedure: small
title: Readings, tried
purpose: Readings are taken beside an instrument.
gates:
  - {id: read, kind: readings, title: Read, source: a test, prompt: "CO2, O2, CO?", point: flue,
     only_recorded: true, ask: [{quantity: co2}, {quantity: o2}, {quantity: co}]}
  - {id: look, kind: confirm, title: Looked, source: a test, prompt: Look at it., done: [looked]}
  - {id: finish, kind: finish, title: Finish, source: none}
"""
MAPPING = """\
instrument: 1
name: the one in the van
form: pairs
separator: space
columns:
  - {column: a, quantity: co2, unit: "%"}
  - {column: b, quantity: o2, unit: "%"}
  - {column: c, quantity: co, unit: "[ppm]"}
over_range: [over]
fault: [x]
"""
UNITS = {"co2": "%", "o2": "%", "co": "[ppm]"}
LEGAL = {"co2": "9.3", "o2": "4.4", "co": "41"}
"""What natural gas gives together: CO2 = 11.9 (20.9 - O2) / 20.9, within the display's steps."""


class Bench:
    """A visit with a witness beside it, an input at a time."""

    def __init__(self, folder: Path) -> None:
        file = folder / "small.yaml"
        file.write_text(PROCEDURE, encoding="utf-8")
        plan, kept = load_plan(file, JOB_SHEET)
        self.clock = ToldClock()
        self.recorder, _ = Recorder.begin(folder / "visit", plan, kept, clock=self.clock)
        self.events: list[object] = []

    def take(self, event: inp.Input) -> list[str]:
        decided = self.recorder.take(event)
        self.events += decided
        return spoken(decided)

    def shows(self, late_ms: int = 0, **values: str) -> list[str]:
        self.clock.pass_ms(1_000)
        now = self.recorder.now()
        shown = tuple(
            inp.InstrumentValue(quantity=name, value=value, unit=UNITS[name])
            for name, value in {**LEGAL, **values}.items()
        )
        row = inp.InstrumentRow(at=now, taken=now - late_ms, instrument="i", mapping="0" * 12, values=shown)
        return self.take(row)

    def says(self, words: str, after_ms: int = 1_000) -> list[str]:
        self.clock.pass_ms(after_ms)
        self.take(inp.SpeechEnded(at=self.recorder.now()))
        return self.take(inp.Typed(at=self.recorder.now(), text=words))

    @property
    def compared(self) -> list[tuple[str, str, bool, bool]]:
        found = [one for one in self.events if isinstance(one, ev.InstrumentCompared)]
        return [
            ("" if one.reading is None else one.reading.value, one.shown.value, one.agrees, one.asks)
            for one in found
        ]

    @property
    def accepted(self) -> dict[str, str]:
        sets = self.recorder.state.sets.get("flue", ())
        return {name: one.value for name, one in sets[-1].values.items()} if sets else {}


@pytest.fixture(scope="module", autouse=True)
def device(keys: Path) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(keys))
        yield


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    yield made
    made.recorder.release()


@pytest.fixture
def mapping(tmp_path: Path) -> MappingFile:
    file = tmp_path / "mapping.yaml"
    file.write_text(MAPPING, encoding="utf-8")
    return load_mapping(file, UNITS)


def test_what_agrees_is_noted_and_nothing_is_asked(bench: Bench) -> None:
    assert bench.shows() == []
    assert bench.says("9.4 4.4 41") == ["CO2 nine point four. O2 four point four. CO four one."]
    bench.says("confirmed")
    assert bench.compared == [("9.4", "9.3", True, False), ("4.4", "4.4", True, False), ("41", "41", True, False)]
    assert bench.accepted == {"co2": "9.4", "o2": "4.4", "co": "41"}


def test_what_differs_is_asked_once_and_what_is_called_again_stands(bench: Bench) -> None:
    bench.shows(co="60")
    (asked,) = bench.says("9.3 4.4 41")
    assert asked == "Instrument says six zero. You called four one. Say CO again."
    assert bench.accepted == {}
    assert bench.says("41") == ["CO2 nine point three. O2 four point four. CO four one."]
    bench.says("confirmed")
    assert bench.accepted["co"] == "41"
    assert bench.compared[-2:] == [("41", "60", False, True), ("41", "60", False, False)]
    folder = finished(bench)
    assert verify(folder, replay=replay_of(folder)).whole
    dossier = open_dossier(folder)
    facts = dict(dossier.facts)
    assert "2 of 3 accepted values compared agree with it; asked again 1 times" in facts["Second witness"]
    told = "CO: called 41 ppm, the instrument showed 60 ppm 2.0 s before that"
    assert facts["Differs from the instrument"].startswith(told)
    concerns = [one for one in concerns_of(dossier.evidence, []) if one.kind == "Differs from the instrument"]
    assert [one.says.startswith(told) for one in concerns] == [True]


def finished(bench: Bench) -> Path:
    bench.says("looked")
    bench.says("confirmed")
    assert bench.recorder.state.status == "closed"
    return bench.recorder.folder


@pytest.mark.parametrize("late", [0, WINDOW_MS - 1_000, WINDOW_MS])
def test_a_row_outside_the_window_is_no_witness(bench: Bench, late: int) -> None:
    """The call is a second after the row: its age is the row's own lateness and that second."""
    bench.shows(late_ms=late, co="60")
    bench.says("9.3 4.4 41")
    assert bool(bench.compared) == (late + 1_000 <= WINDOW_MS)


def test_co_over_the_limit_in_the_row_alone_is_asked_for_at_once(bench: Bench) -> None:
    """320 ppm at O2 4.4 %: 405 ppm air-free (20.9 / (20.9 - O2)), over the 400 of ANSI Z21; 310 is 393."""
    (asked,) = bench.shows(co="320")
    assert asked == "Instrument says CO three two zero. Say CO now."
    assert bench.shows(co="321") == []
    bench.says("310")
    assert bench.recorder.state.pending.values["co"].value == "310"
    assert bench.recorder.state.status == "running"


def test_a_value_called_before_is_asked_for_again_when_a_later_row_passes_the_limit(bench: Bench) -> None:
    bench.says("9.3 4.4 41")
    (asked,) = bench.shows(co="over range")
    assert asked == "Instrument says CO over range. Say CO now."
    assert "co" not in bench.recorder.state.pending.values


def test_a_stop_is_not_held_up_by_a_row(bench: Bench) -> None:
    """The instrument shows a low CO; what was called passes the limit: read back, affirmed, stopped."""
    bench.shows()
    assert bench.says("9.3 4.4 900") == ["CO2 nine point three. O2 four point four. CO nine zero zero."]
    bench.says("confirmed")
    assert bench.recorder.state.status == "stopped"
    assert bench.shows(co="over range") == []


def test_elsewhere_it_is_asked_for_once_and_the_question_before_goes_on(bench: Bench) -> None:
    """140 ppm at O2 4.4 %, as shown: 177 ppm air-free, under the maker's 200 of the sheet, so the work goes on."""
    bench.says("9.3 4.4 41")
    bench.says("confirmed")
    assert bench.shows(co="320") == ["Instrument says CO three two zero. Say CO now."]
    assert bench.says("looked") == ["CO?"]
    assert bench.says("140") == ["CO one four zero.", "Look at it."]
    assert bench.compared[-1] == ("140", "320", False, False)
    assert bench.accepted["co"] == "41"
    assert bench.shows(co="320") == []
    assert bench.recorder.state.gate == "look"
    folder = finished(bench)
    assert verify(folder, replay=replay_of(folder)).whole
    dossier = open_dossier(folder)
    told = "CO: called 140 ppm, the instrument showed 320 ppm 2.0 s before that"
    said = [one.says for one in concerns_of(dossier.evidence, []) if one.kind == "Differs from the instrument"]
    assert [one.startswith(told) for one in said] == [True]
    assert dict(dossier.facts)["Differs from the instrument"].startswith(told)
    assert "CO 41 ppm" in paper_of(dossier).others
    assert "Second witness" not in dict(customers_page(dossier).facts)


@pytest.mark.parametrize("called", ["321", "over range"])
def test_elsewhere_a_value_called_beyond_the_limit_stops_the_work(bench: Bench, called: str) -> None:
    """321 ppm at O2 4.4 %, as shown: 407 ppm air-free. Two witnesses, so it stops at the first hearing."""
    bench.says("9.3 4.4 41")
    bench.says("confirmed")
    bench.shows(co="320")
    bench.says(called)
    assert bench.recorder.state.status == "stopped"
    (stop,) = [one for one in bench.events if isinstance(one, ev.Stopped)]
    assert [one.value for one in stop.called] == [called]


@pytest.mark.parametrize("words", ["take a note", "not done because no time", "go back"])
def test_nothing_leads_past_a_value_that_is_asked_for(bench: Bench, words: str) -> None:
    """It is asked for again, and then it stops the work."""
    bench.says("9.3 4.4 41")
    bench.says("confirmed")
    bench.shows(co="320")
    asked = bench.recorder.state.question
    bench.says(words)
    assert bench.recorder.state.question == asked
    bench.says("321")
    assert bench.recorder.state.status == "stopped"


def test_what_has_no_stop_limit_is_not_asked_for_elsewhere(bench: Bench) -> None:
    """CO2 above the band only asks to search: its gate alone wants it."""
    bench.says("9.3 4.4 41")
    bench.says("confirmed")
    assert bench.shows(co2="10.1", o2="3.2") == []


def test_a_silent_instrument_is_told_once_and_the_visit_goes_on(bench: Bench) -> None:
    def came(kind: type[inp.DeviceLost | inp.DeviceFound]) -> list[str]:
        return bench.take(kind(at=bench.recorder.now(), device="instrument"))

    assert came(inp.DeviceLost) == ["Instrument silent. We go on without it.", "CO2, O2, CO?"]
    assert came(inp.DeviceFound) == []
    assert came(inp.DeviceLost) == []
    assert bench.says("9.3 4.4 41") == ["CO2 nine point three. O2 four point four. CO four one."]


@pytest.mark.parametrize(
    ("called", "shown", "tolerance"), [("0.1", "0.01", "0.15"), ("1", "1", "0"), ("1", "5", "2")]
)
def test_the_room_is_never_less_than_the_expanded_uncertainty_of_the_difference(
    called: str, shown: str, tolerance: str
) -> None:
    """JCGM 100:2008, F.2.2.1 and 5.1.2, k = 2: two roundings, and a move within ± tolerance."""
    rounding = 2 * combined(of_resolution(float(called)), of_resolution(float(shown)))
    expected = combined(rounding, 2 * expanded(float(tolerance)))
    assert float(room(Decimal(called), Decimal(shown), Decimal(tolerance))) >= expected


def until(instrument: FollowedInstrument, now: int) -> object:
    """Return the next news, given some seconds of real time for the thread to read."""
    for _ in range(100):
        if (news := instrument.news(now)) is not None:
            return news
        time.sleep(0.05)
    return None


def values(news: object) -> dict[str, str]:
    assert isinstance(news, inp.InstrumentRow)
    return {one.quantity: one.value for one in news.values}


def test_a_terminal_line_that_talks_rubbish_and_goes(mapping: MappingFile) -> None:
    """Any bytes are left out with one sentence; the line's end is told once, as silence."""
    ours, theirs = os.openpty()
    notes: list[str] = []
    with FollowedInstrument(mapping, Path(os.ttyname(theirs))) as instrument:
        instrument.note = notes.append
        os.write(ours, b"\xff\xfe\x00\nhello\na=9.3 b=4.4 c=over\r\n")
        news = until(instrument, 0)
        assert values(news) == {"co2": "9.3", "o2": "4.4", "co": "over range"}
        assert isinstance(news, inp.InstrumentRow)
        assert news.left_out == 2
        os.close(theirs)
        os.close(ours)
        assert until(instrument, SILENT_MS) == DeviceChange("instrument", lost=True)
        assert instrument.news(2 * SILENT_MS) is None
    assert len([one for one in notes if "left out" in one]) == 1
    assert notes[0].startswith("Instrument the one in the van: its line 1 is left out: ")


def test_a_pipe_through_the_conductor(bench: Bench, mapping: MappingFile, tmp_path: Path) -> None:
    """A line without an end does not hold up what comes after it; the row is recorded as it was written."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with FollowedInstrument(mapping, pipe) as instrument:
        writer = os.open(pipe, os.O_WRONLY)
        os.write(writer, b"z" * 9_000 + b"\na=9.30 c=x\n")
        conductor = Conductor(bench.recorder, Mouth(), None, None, instrument=instrument)
        for _ in range(100):
            conductor._witness()  # what the loop does at each turn
            if bench.recorder.state.rows:
                break
            time.sleep(0.05)
        os.close(writer)
    (row,) = bench.recorder.state.rows
    assert values(row) == {"co2": "9.30", "co": "no reading"}
    assert row.mapping == mapping.sha256[:12]
    assert row.left_out == 1


def test_a_file_that_grows_is_followed_from_where_the_visit_began(tmp_path: Path) -> None:
    """Its header is read, its old rows are not; begun anew, it is read from its beginning."""
    text = MAPPING.replace("form: pairs", "form: columns\nheader: 1").replace("space", "tab")
    (tmp_path / "m.yaml").write_text(text, encoding="utf-8")
    file = tmp_path / "log"
    file.write_bytes(b"c\tb\ta\n999\t1.0\t1.0\n99")
    with FollowedInstrument(load_mapping(tmp_path / "m.yaml", UNITS), file) as instrument:
        with file.open("ab") as more:
            more.write(b"9\t1.0\t1.0\n41\t4.4\t9.3\n")
        assert values(until(instrument, 0)) == {"co2": "9.3", "o2": "4.4", "co": "41"}
        assert instrument.news(999) is None
        file.write_bytes(b"a\tb\tc\n9.2\t\tx\n")
        assert values(until(instrument, 1_000)) == {"co2": "9.2", "co": "no reading"}


def test_a_clock_that_is_wrong_makes_rows_stale_not_witnesses(tmp_path: Path) -> None:
    notes: list[str] = []
    text = MAPPING + 'time: {columns: [t], form: "%Y-%m-%dT%H:%M:%S", zone: UTC}\n'
    (tmp_path / "m.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "log").write_bytes(b"")
    with FollowedInstrument(load_mapping(tmp_path / "m.yaml", UNITS), tmp_path / "log") as instrument:
        instrument.note = notes.append
        (tmp_path / "log").write_bytes(b"t=2020-01-01T00:00:00 a=9.3\n")
        assert instrument.news(0) is None
        for _ in range(100):
            if notes:
                break
            time.sleep(0.05)
            instrument.news(1_000)
        assert instrument.news(SILENT_MS) == DeviceChange("instrument", lost=True)
    assert len(notes) == 1
    assert notes[0].endswith("s behind: no row counts.")


def test_what_is_no_source_is_told(mapping: MappingFile, tmp_path: Path) -> None:
    for source in (tmp_path / "none", tmp_path):
        with pytest.raises(Problem, match="the instrument cannot be read") as told:
            FollowedInstrument(mapping, source)
        assert told.value.where == str(source)
