"""Earlier visits carried into the next: told at its opening, values after the new ones, and no broken one."""

from __future__ import annotations

import io
import json
import shutil
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from lists import OFFICE, device_of, list_of
from recorded import ToldClock
from rehearsed import JOB_SHEET
from typer.testing import CliRunner

from handsfree.commands.erasing import app as erasing_app
from handsfree.commands.record import app as record_app
from handsfree.desk.customer import customers_page
from handsfree.desk.dossier import open_dossier
from handsfree.desk.last_time import LastTime, last_time
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.ledger import Ledger, read, verify
from handsfree.ledger.personal import NOT_HERE, in_text, names_of
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.objects.archive import pack
from handsfree.office.enrolling import add
from handsfree.office.enrolment import Role
from handsfree.office.erasing import data_of
from handsfree.office.kept_key import make_key
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.problem import Problem
from handsfree.procedure.languages import english
from handsfree.session.last_time import ago
from handsfree.session.plan import Plan
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder, own_facts, recorded_events, spoken
from handsfree.visit.replaying import replay_of

PROCEDURE = """\
handsfree: 2
procedure: small
title: Small service
purpose: Looked at and read.
gates:
  - id: inside
    kind: choice
    title: Inside
    source: a test
    not_done: flue
    prompt: "Seals, wiring: all in order?"
    answers:
      in-order: {heard: [in order], then: flue}
      seals: {heard: [seals], then: seals}
      wiring: {heard: [wiring], then: wiring}
  - id: seals
    kind: choice
    title: Burner seals
    source: a test
    not_done: inside
    prompt: "Burner seals?"
    answers:
      whole: {heard: [whole], then: inside}
      advised: {heard: [advised], then: inside, note: true}
  - id: wiring
    kind: choice
    title: Wiring
    source: a test
    not_done: inside
    prompt: "Wiring?"
    answers:
      sound: {heard: [tight], then: inside}
      fault: {heard: [fault found], then: inside, note: true}
  - {id: flue, kind: readings, title: Flue gas, source: a test, prompt: "CO2, CO.", point: flue,
     ask: [{quantity: co2, low: 2, high: 15}, {quantity: co, low: 0, high: 400}]}
  - {id: flue-again, kind: readings, title: Flue gas again, source: a test, prompt: "CO2 again.",
     point: flue-again, ask: [{quantity: co2, low: 2, high: 15}]}
  - {id: finish, kind: finish, title: Finish, source: none}
"""
TODAY = date(2026, 11, 18)
AN_HOUR_MS = 3_600_000
ADVISED = ("seals", "advised", "worn at the left", "in order")


@cache
def planned(fuel: str = "natural gas", serial: str = "LM24A0173") -> tuple[Plan, dict[str, bytes]]:
    """Return the plan of the small procedure on the demo's sheets, with another fuel or serial."""
    with TemporaryDirectory() as room:
        place = Path(room)
        (place / "small.yaml").write_text(PROCEDURE, encoding="utf-8")
        shutil.copy(JOB_SHEET.with_name("appliance-24.yaml"), place)
        sheet = JOB_SHEET.read_text("utf-8").replace("fuel: natural gas", f"fuel: {fuel}")
        (place / "jobsheet.yaml").write_text(sheet.replace("LM24A0173", serial), encoding="utf-8")
        return load_plan(place / "small.yaml", place / "jobsheet.yaml")


def carried(folder: Path, **sheet: str) -> LastTime:
    """Read a folder of earlier visits for a visit of the small procedure."""
    return last_time(folder, planned(**sheet)[0])


class Small:
    """One visit of the small procedure, typed, begun so many days before today."""

    def __init__(
        self, folder: Path, *, days_ago: int = 0, before: LastTime | None = None, key: Path | None = None,
        **sheet: str,
    ) -> None:  # fmt: skip
        plan, kept = planned(**sheet)
        clock, before = ToldClock(wall=ToldClock.wall - days_ago * 24 * AN_HOUR_MS), before or LastTime()
        self.folder = folder
        self.recorder, opening = Recorder.begin(
            folder, plan, kept, clock=clock, earlier=before.visits, words=before.words, throw_away=key
        )
        self.opening = spoken(opening)

    def says(self, *words: str) -> list[str]:
        told: list[str] = []
        for one in words:
            self.recorder.take(inp.SpeechEnded(at=self.recorder.now()))
            told = spoken(self.recorder.take(inp.Typed(at=self.recorder.now(), text=one)))
        return told

    def writes(self, text: str) -> None:
        """Tell something in free words, as the general recogniser writes them down."""
        now = self.recorder.now()
        self.recorder.take(inp.SpeechEnded(at=now))
        commitment = self.recorder.keep_personal(text.encode())
        words = inp.PersonalData(commitment=commitment, whose="technician", what="words")
        heard = inp.HeardWord(word="[unk]", start_ms=0, end_ms=900, confidence=Decimal(1))
        self.recorder.take(
            inp.Heard(
                at=now, alternatives=(inp.Alternative(words=(heard,), score=Decimal(0)),), grammar="a test",
                started=now - 900, ended=now,
                general=inp.GeneralHearing(member="a test", text=in_text(commitment), words=words),
            )
        )  # fmt: skip

    def whole(self, *first: str, co2: str = "9.3", co: str = "18") -> Path:
        """Go to the end: what is said first, then both readings."""
        self.says(*first, co2, co, "confirmed", co2, "confirmed", "confirmed")
        assert self.recorder.state.outcome == "finished", self.recorder.state.gate
        self.recorder.release()
        return self.folder


@pytest.fixture(autouse=True)
def _own_state(keys: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One device for all visits here, in place of one for each test."""
    monkeypatch.setenv("HANDSFREE_STATE", str(keys))


@pytest.fixture(scope="module")
def earlier(keys: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one visit, 91 days ago: burner seals advised, CO2 9.3, CO 18."""
    folder = tmp_path_factory.mktemp("earlier")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(keys))
        Small(folder / "spring", days_ago=91).whole(*ADVISED)
    return folder


def test_the_opening_tells_the_last_visit_and_what_it_left_to_do(earlier: Path, tmp_path: Path) -> None:
    """Three months of 30.4 days; the words lie beside the new record too, under the same commitment."""
    before = carried(earlier)
    assert before.left_out == ()
    now = Small(tmp_path / "now", before=before)
    (words,) = before.words
    assert now.opening[:2] == [
        "Last visit 3 months ago: Small service, finished.",
        f"Still to do: Burner seals, advised, {in_text(words.commitment)}.",
    ]
    assert names_of(now.folder).told_in_short(now.opening[1]).endswith("advised, worn at the left.")
    assert b"worn" not in (now.folder / "ledger.jsonl").read_bytes()


def test_a_value_of_last_time_is_told_after_the_new_one_was_accepted(earlier: Path, tmp_path: Path) -> None:
    """Not at the opening, the question or the read-back; 0.5 is unusual. Taken anew it is told anew."""
    now = Small(tmp_path / "now", before=carried(earlier))
    said = [*now.opening, *now.says("in order"), *now.says("8.8"), *now.says("22")]
    assert not [one for one in said if "nine point three" in one or "Last time" in one]
    assert now.says("confirmed") == [
        "Last time CO2 nine point three, CO one eight.",
        "Unusual drift: CO2 down zero point five.",
        "CO2 again.",
    ]
    (told,) = [one for one in recorded_events(now.folder) if isinstance(one, ev.LastTimeTold)]
    assert [(one.quantity, one.now, one.last, one.change, bool(one.unusual)) for one in told.compared] == [
        ("co2", "8.8", "9.3", "-0.5", True), ("co", "22", "18", "4", False)
    ]  # fmt: skip
    assert "no source" in told.compared[0].unusual
    now.says("that was wrong")
    assert now.says("9.2", "20", "confirmed")[0] == "Last time CO2 nine point three, CO one eight."


@pytest.mark.parametrize(("co2", "unusual"), [("8.9", False), ("9.7", False), ("9.8", True)])
def test_a_drift_is_unusual_beyond_what_the_trade_says(
    earlier: Path, tmp_path: Path, co2: str, unusual: bool
) -> None:
    """0.4 of CO2 by the trade's file: two analysers of 0.3 each differ by up to 0.42 (JCGM 100, 5.1.2)."""
    now = Small(tmp_path / "now", before=carried(earlier))
    told = now.says("in order", co2, "18", "confirmed")
    assert ("Unusual drift: CO2 up zero point five." in told) == unusual


def test_it_is_decided_again_told_on_papers_and_by_verify(earlier: Path, tmp_path: Path) -> None:
    now = Small(tmp_path / "now", before=carried(earlier)).whole("in order", co2="8.8")
    assert verify(now, replay=replay_of(now)).whole
    facts = open_dossier(now).facts
    said = dict(facts)
    head = verify(earlier / "spring").head
    assert head is not None
    source = f"Small service of 2026-08-19 ({head.count} entries, checksum {head.checksum}"
    assert said["Carried in"] == f"from {source}, for which nobody vouched); finished"
    assert said["Asked again now"] == "since 2026-08-19: Burner seals: advised, worn at the left"
    assert "Still to do" not in said
    customer = customers_page(open_dossier(now)).earlier
    assert customer[0] == "2026-08-19: Small service, finished."
    assert "2026-08-19: Burner seals: advised, worn at the left - asked again on this visit." in customer
    assert "CO₂ at flue: 8.8 %, left 9.3 % on 2026-08-19 - an unusual change." in customer
    told = [text for name, text in facts if name == "Last time, flue"]
    assert told[0].startswith("CO₂ 8.8 %, left 9.3 % on 2026-08-19: -0.5 %, UNUSUAL by more than 0.4")
    assert told[0].endswith("(-0.17 a month)")
    printed = CliRunner().invoke(record_app, ["verify", str(now), "--accept-unanchored"]).output
    assert f"carried in from {source}" in printed


@pytest.mark.slow("four visits are recorded")
def test_a_later_answer_closes_what_was_advised(earlier: Path, tmp_path: Path) -> None:
    """At the gate itself, or at the one question for all things whose exceptions are named: none was."""
    for name, first, still in (
        ("replaced", ("seals", "whole", "in order"), False),
        ("not named", ("in order",), False),
        ("another", ("wiring", "tight", "in order"), False),
        ("again", ("seals", "advised", "worn still", "in order"), True),
    ):
        folder = tmp_path / name.replace(" ", "-")
        shutil.copytree(earlier, folder)
        Small(folder / "summer", days_ago=20).whole(*first)
        before = carried(folder)
        assert [one.day for one in before.visits] == ["2026-10-29", "2026-08-19"]
        to_do = [(visit.day, one.title) for visit in before.visits for one in visit.answers if one.to_do]
        assert to_do == ([("2026-10-29", "Burner seals")] if still else []), name
    opening = Small(tmp_path / "now", before=before).opening
    assert opening[:2] == ["Last visit 3 weeks ago: Small service, finished.", "Before that: Small service."]


@pytest.mark.slow("four visits are recorded")
def test_what_was_found_is_to_do_unless_the_visit_came_to_its_end(tmp_path: Path) -> None:
    """A fault that was named, of a visit that was finished and of one that was left off."""
    Small(tmp_path / "one" / "visit", days_ago=1).whole("wiring", "fault found", "a burnt clip", "in order")
    left = Small(tmp_path / "two" / "visit", days_ago=2)
    left.says("wiring", "fault found", "a burnt clip", "stop work", "leave it off")
    left.recorder.release()
    one = Small(tmp_path / "now-one", before=carried(tmp_path / "one")).opening
    two = Small(tmp_path / "now-two", before=carried(tmp_path / "two")).opening
    assert one[0] == "Last visit yesterday: Small service, finished."
    assert one[1].startswith("Then: Wiring, fault found")
    assert two[0] == "Last visit 2 days ago: Small service, not closed."
    assert two[1].startswith("Still to do: Wiring, fault found")


def test_readings_with_another_fuel_are_told_of_and_not_compared(earlier: Path, tmp_path: Path) -> None:
    """Propane burns with more CO2: 9.3 then says nothing of today."""
    now = Small(tmp_path / "now", before=carried(earlier), fuel="propane")
    assert "Fuel then: natural gas." in now.opening
    assert now.says("in order", "10.2", "22", "confirmed") == ["CO2 again."]


@pytest.mark.slow("an invented visit has a device of its own")
def test_what_does_not_hold_is_told_in_a_sentence_and_not_carried_in(earlier: Path, tmp_path: Path) -> None:
    """An altered record, an invented one, one that is no record, a package that is none; each by its name."""
    folder = tmp_path / "records"
    shutil.copytree(earlier / "spring", folder / "altered")
    ledger = folder / "altered" / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes().replace(b'"value":"9.3"', b'"value":"9.4"'))
    Small(folder / "invented", days_ago=3, key=tmp_path / "key").whole(*ADVISED)
    (folder / "none").mkdir()
    (folder / "none" / "ledger.jsonl").write_bytes(b"{}\n")
    (folder / "bad.tar").write_bytes(b"\x00" * 1024)
    (folder / "pipe.tar").symlink_to("/dev/zero")
    before = carried(folder)
    assert before.visits == ()
    told = {one.partition(" is not carried in: ")[0]: one for one in before.left_out}
    assert set(told) == {"altered", "invented", "none", "bad.tar", "pipe.tar"}
    assert "its record is broken: entry" in told["altered"]
    assert "DEMO" in told["invented"]
    assert not [one for one in before.left_out if "\n" in one]
    with pytest.raises(Problem, match="no such folder"):
        carried(tmp_path / "nowhere")


def test_a_packed_visit_is_read_as_the_office_sends_it(earlier: Path, tmp_path: Path) -> None:
    packed = io.BytesIO()
    pack(earlier / "spring", packed)
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "spring.tar").write_bytes(packed.getvalue())
    one, other = carried(tmp_path / "records"), carried(earlier)
    assert one.visits[0].identity == other.visits[0].identity
    assert one.visits[0].readings == other.visits[0].readings


def test_another_serial_is_nobodys_history(earlier: Path, tmp_path: Path) -> None:
    """However it is spaced and written it is the same; the model must be, too."""
    assert carried(earlier, serial="LM24A0174") == LastTime()
    assert len(carried(earlier, serial="lm24 a0173").visits) == 1
    plan, _ = planned()
    other = plan.sheets.appliance.model_copy(update={"appliance": "Another 30"})
    before = last_time(earlier, replace(plan, sheets=plan.sheets.model_copy(update={"appliance": other})))
    assert before.visits == ()
    assert "its serial is the same, but it is of" in before.left_out[0]


def test_a_record_that_nobody_on_the_list_vouches_for_is_not_carried_in(earlier: Path, tmp_path: Path) -> None:
    """With the office's list on the device; without one nobody can say, and the record does."""
    (tmp_path / "lists").mkdir()
    known, unknown = (
        list_of(tmp_path / "lists" / "a", [device_of(earlier / "spring")]),
        list_of(tmp_path / "b", []),
    )
    plan, _ = planned()
    assert [one.vouched for one in last_time(earlier, plan, known).visits] == ["enrolled"]
    before = last_time(earlier, plan, unknown)
    assert before.visits == ()
    assert "nobody vouches for it: sealed by an unknown device" in before.left_out[0]


@pytest.mark.slow("two visits are recorded, erased and read again")
def test_words_that_were_erased_are_not_carried_in(tmp_path: Path) -> None:
    """Nor from a copy where that is only signed; carried in before, they are erased with the others."""
    records = tmp_path / "records"
    first = Small(records / "first", days_ago=9)
    first.says("seals", "advised")
    first.writes("worn at the left")
    first.whole("in order")
    now = Small(tmp_path / "now", before=carried(records))
    told = now.opening[1]
    assert names_of(now.folder).told(told).endswith("advised, worn at the left (machine-written).")
    now.whole("in order")
    shutil.copytree(records, tmp_path / "copy")
    shutil.copytree(now.folder, records / "now")
    listed = list_of(tmp_path / "list", [device_of(records / "now")])
    key = tmp_path / "key.pem"
    who = make_key(key, None).public
    add(listed, OFFICE, key=who, name="B. Supervisor", role=Role.SUPERVISOR, valid_from=BEFORE_THE_PROGRAM)
    asked = ["--person", "Ines Demoville", "--reason", "asked for", "--key", str(key)]
    reply = CliRunner().invoke(erasing_app, [str(records), *asked, "--enrolment", str(listed)])
    assert reply.exit_code == 0, reply.output
    assert names_of(records / "now").told(told).endswith(f"advised, {NOT_HERE} (machine-written).")
    assert not data_of(records / "now", "Ines Demoville")
    report = verify_anchored(records / "now", known_enrolment(listed))
    assert report.whole
    assert "erased" in report.sentence
    plan, _ = planned()
    (answer,) = last_time(records, plan, listed).visits[1].answers
    assert (answer.title, answer.text, answer.words) == ("Burner seals", "", None)
    shutil.copy(records / "first" / "endorsements.jsonl", tmp_path / "copy" / "first")
    copy = last_time(tmp_path / "copy", plan, listed)
    assert (copy.visits, copy.words) == ((), ())
    assert "erased data is there" in copy.left_out[0]


def test_words_that_hold_a_cry_are_not_said(tmp_path: Path) -> None:
    """No text of the tool's holds a phrase that stops the work: it may hear itself."""
    first = Small(tmp_path / "records" / "one", days_ago=9)
    first.says("seals", "advised")
    first.writes("the owner says that you smell gas in May")
    first.whole("in order")
    before = carried(tmp_path / "records")
    (answer,) = before.visits[0].answers
    assert not answer.spoken
    assert answer.text
    assert Small(tmp_path / "now", before=before).opening[1] == "Still to do: Burner seals, advised."


def test_what_no_visit_of_ours_writes_harms_no_next_one(earlier: Path, tmp_path: Path) -> None:
    """Sealed as it should be: a number beyond all that can be called, a cry for a title, no day."""
    opening, *entries = read(earlier / "spring")
    first = {**own_facts(opening.event), "day": "smell gas now"}
    sources = {name: (earlier / "spring" / "sources" / name).read_bytes() for name in opening.event["sources"]}
    odd = PROCEDURE.replace("title: Small service", "title: I smell gas, stop!").encode()
    records, plan = tmp_path / "records", planned()[0]
    clock = ToldClock(wall=ToldClock.wall - 5 * 24 * AN_HOUR_MS)
    with Ledger.create(records / "odd", first, sources={**sources, "small.yaml": odd}, clock=clock) as ledger:
        for entry in entries:
            text = json.dumps(entry.event).replace('"9.3"', '"1E+5000"')
            ledger.append([(entry.kind, json.loads(text))])
    shutil.copytree(earlier / "spring" / "personal", records / "odd" / "personal", dirs_exist_ok=True)
    before = last_time(records, plan)
    assert before.left_out == ()
    (visit,) = before.visits
    assert {one.quantity for one in visit.readings} == {"co"}
    now = Small(tmp_path / "now", before=before)
    assert all(now.recorder.plan.catalogue.hazard_within(text) is None for text in now.opening)
    assert now.says("in order", "8.8", "22", "confirmed")[0] == "Last time CO one eight."


@pytest.mark.parametrize(("days", "says"), [
    (0, "today"), (1, "yesterday"), (13, "13 days ago"), (14, "2 weeks ago"), (59, "8 weeks ago"),
    (60, "2 months ago"), (365, "12 months ago"), (729, "24 months ago"), (730, "2 years ago"), (-1, "today"),
])  # fmt: skip
def test_how_long_ago_is_said_in_whole_days_weeks_months_or_years(days: int, says: str) -> None:
    words = english()
    assert ago(words, (TODAY - timedelta(days=days)).isoformat(), TODAY.isoformat()) == says
