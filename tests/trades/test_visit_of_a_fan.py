"""A visit at a fan: its stop says what is true of a fan, its record names no fuel; the rest is refused."""

from __future__ import annotations

import copy
from datetime import date
from pathlib import Path

import pytest
from pydantic import ValidationError
from ruamel.yaml import YAML

from handsfree.demo.play import scenario_files
from handsfree.events import decisions as ev
from handsfree.events.record import from_record, to_record
from handsfree.events.upcasting import Reader
from handsfree.problem import Problem
from handsfree.procedure.languages import english_words
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.procedure.trades import trade_data
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.visit.folder import SOURCES, load_plan, plan_of

ROOT = Path(__file__).parents[2]
PROCEDURES = ROOT / "procedures"
FAN = ROOT / "handsfree" / "trades" / "ventilation" / "example" / "jobsheet.yaml"
DAY = date(2026, 11, 25)

SMALL = """\
handsfree: 2
procedure: small
trade: ventilation
title: Small
purpose: Nothing but a test.
cautions: [Steps and edges.]
jobsheet: [serial]
gates:
  - {id: flow, kind: readings, title: Flow, source: own, prompt: "Flow?", ask: [{quantity: air_flow}], point: flow}
  - {id: finish, kind: finish, title: Finish, source: none}
"""


def visit(procedure: str = "extract-ventilation") -> Rehearsal:
    rehearsal = Rehearsal(Plan(load_procedure(PROCEDURES / f"{procedure}.yaml"), load_sheets(FAN)[0]).check(), DAY)
    rehearsal.until_asking()
    return rehearsal


@pytest.mark.parametrize("words", ["stop work", "stop everything", "emergency stop"])
def test_stop_work_at_a_fan_is_answered_for_a_fan(words: str) -> None:
    fan = visit()
    fan.say(words)
    stopped = [event for event in fan.events if isinstance(event, ev.Stopped)]
    assert [event.script for event in stopped] == ["Fan off at its isolator. Hands clear of the fan."]
    said = " ".join(event.text for event in fan.events if isinstance(event, ev.Said | ev.Asked))
    assert "urner" not in said
    assert "Gas" not in said


def test_stop_work_at_a_boiler_is_answered_for_a_boiler() -> None:
    sheets, _ = load_sheets(scenario_files()[0])
    boiler = Rehearsal(Plan(load_procedure(PROCEDURES / "two-rate-combustion.yaml"), sheets).check(), DAY)
    boiler.until_asking()
    boiler.say("stop work")
    assert [event.script for event in boiler.events if isinstance(event, ev.Stopped)] == [
        "Burner off now. Gas cock closed. Stay clear."
    ]


def test_hazards_of_another_trade_are_not_listened_for() -> None:
    """ "Burner out" stops no fan; "caught in the fan" does."""
    fan = visit()
    fan.say("burner out")
    assert fan.state.status != "stopped"
    fan.say("my hand is caught in the fan")
    assert fan.state.status == "stopped"


def test_the_record_of_a_fan_names_no_fuel() -> None:
    (opened,) = [event for event in visit().events if isinstance(event, ev.VisitOpened)]
    _, content = to_record(opened)
    assert content["trade"] == "ventilation"
    assert "fuel" not in content["facts"]
    assert content["instrument"] == "Flow hood"
    assert content["facts"]["the dwelling"] == "existing"
    assert "natural gas" not in str(content)


def test_the_first_entry_of_an_older_record_is_still_read() -> None:
    """As version 2 of the events wrote it: no trade, no facts, a fuel."""
    older = {
        "at": 0, "schema_version": 2, "decision_version": "b4251dbe9dd0", "program": "rehearsal",
        "procedure": "two-rate-combustion", "procedure_sha256": "00", "sheets_sha256": {}, "model_sha256": None,
        "day": "2026-11-25", "job": "demo-0001", "site": "Orchard House", "technician": "Ines Demoville",
        "licence": "invented 12345", "appliance": "Larkmoor 24", "serial": "LM24A0173", "fuel": "natural gas",
        "instrument": "Flue gas analyser", "instrument_serial": "FG2209", "calibrated_until": "2027-06-30",
    }  # fmt: skip
    opened = Reader(lambda _: None).event("visit-opened", older)
    assert isinstance(opened, ev.VisitOpened)
    assert (opened.trade, opened.facts) == ("combustion", {"fuel": "natural gas"})


def test_what_version_7_called_after_a_burner_is_read_as_what_any_trade_calls_it() -> None:
    """The fuel of the first entry is one of the job's facts, and what went out went out."""
    opened, _ = (event for event in visit().events[:2])
    reader = Reader(lambda _: None)
    older = {**to_record(opened)[1], "schema_version": 7, "fuel": None}
    assert reader.event("visit-opened", older) == opened.model_copy(update={"schema_version": 7})
    went_out = reader.event("burner-went-out", {"at": 5, "gate": "found-maximum", "expected": True})
    assert went_out == ev.WentOut(at=5, gate="found-maximum", expected=True)
    with pytest.raises(ValidationError):
        from_record("burner-went-out", {"at": 5, "gate": "found-maximum"})


def test_a_fan_is_not_led_with_the_sheets_of_a_boiler() -> None:
    plan = Plan(load_procedure(PROCEDURES / "extract-ventilation.yaml"), load_sheets(scenario_files()[0])[0])
    with pytest.raises(Problem, match="the job sheet is of combustion, and extract-ventilation of ventilation"):
        plan.check()


def small(folder: Path, old: str = "", new: str = "") -> Path:
    assert old in SMALL
    path = folder / "small.yaml"
    path.write_text(SMALL.replace(old, new, 1) if old else SMALL, "utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "what", "place"),
    [
        ("trade: ventilation", "trade: masonry", "there is no trade 'masonry'", "small.yaml:3:8"),
        ("quantity: air_flow", "quantity: co2", "there is no quantity 'co2'", "small.yaml:9:"),
        ("quantity: air_flow", "quantity: dew_point", "there is no quantity 'dew_point'", "small.yaml:9:"),
        ("point: flow}", "point: flow, firing: true}", "nothing fires in ventilation", "small.yaml:9:"),
    ],
)
def test_what_a_trade_does_not_have_is_refused_with_what_it_has(
    tmp_path: Path, old: str, new: str, what: str, place: str
) -> None:
    with pytest.raises(Problem) as caught:
        load_procedure(small(tmp_path, old, new))
    assert caught.value.what == what
    assert place in str(caught.value.where)
    known = {"trade": "combustion, cooling, plumbing, ventilation", "quantity": "air_flow, fan_power"}
    assert any(text in str(caught.value.remedy) for text in (*known.values(), "remove `firing`"))


def test_files_of_two_trades_are_not_put_together(tmp_path: Path) -> None:
    path = small(tmp_path, "gates:\n", "gates:\n  - {id: gas, kind: include, file: gas.yaml, exits: {}}\n")
    (tmp_path / "gas.yaml").write_text(
        "handsfree: 2\nprocedure: gas\ntitle: Gas\npurpose: None.\n"
        'gates:\n  - {id: seen, kind: confirm, title: Seen, source: none, prompt: "Seen?"}\n',
        "utf-8",
    )
    with pytest.raises(Problem, match=r"gas.yaml is of the trade combustion, and what includes it of ventilation"):
        load_procedure(path)


def in_another_language(folder: Path) -> Path:
    """Write the procedure in a language of two files: the core's words, and the trade's (here: English ones)."""
    whole = copy.deepcopy(english_words("ventilation"))
    own = trade_data("ventilation").english.content
    trades = {
        section: whole.pop(section) if section in {"hazards", "quantities"} else words
        for section, words in own.items()
    }
    whole["language"] = "scots"
    for name, content in (("scots.yaml", whole), ("scots-ventilation.yaml", trades)):
        with (folder / name).open("w", encoding="utf-8") as file:
            YAML().dump(content, file)
    return small(folder, "trade: ventilation", "language: scots\ntrade: ventilation")


def test_a_language_may_stand_in_two_files_and_both_are_kept_with_the_visit(tmp_path: Path) -> None:
    plan, kept = load_plan(in_another_language(tmp_path), FAN)
    assert plan.catalogue.language == "scots"
    assert {"scots.yaml", "scots-ventilation.yaml"} <= set(kept)
    sources = tmp_path / "visit" / SOURCES
    sources.mkdir(parents=True)
    for name, data in kept.items():
        (sources / name).write_bytes(data)
    assert plan_of(tmp_path / "visit", "small").procedure.version() == plan.procedure.version()


def test_a_fault_in_the_trades_words_is_told_in_their_own_file(tmp_path: Path) -> None:
    path = in_another_language(tmp_path)
    words = tmp_path / "scots-ventilation.yaml"
    words.write_text(words.read_text("utf-8").replace("Everyone out now.", "It is safe now."), "utf-8")
    with pytest.raises(Problem, match="promises what nobody can know: safe") as caught:
        load_procedure(path)
    assert "scots-ventilation.yaml:" in str(caught.value.where)
