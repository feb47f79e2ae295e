"""Checklist, report and chart travel with the trade: a fan is not judged as a boiler, nor told as one."""

import shutil
from dataclasses import replace

import pytest
from fan_visits import FAULTLESS, TOO_LITTLE, dossier_of, record_fan
from starlette.testclient import TestClient

from handsfree.desk import chart, forms, printed, site
from handsfree.desk.evidence import AssessedAs, Evidence
from handsfree.desk.forms import Checklist, Forms, ReportForm, forms_of
from handsfree.desk.guard import Door
from handsfree.desk.index import Index, key_of
from handsfree.desk.paper import paper_of
from handsfree.desk.questions import QUESTIONS
from handsfree.desk.record import load
from handsfree.desk.rules_done import warning_due
from handsfree.desk.supervision import RULES, hold_against, judge, rules_of
from handsfree.documents import parse_document, read_document, validate
from handsfree.events import decisions as ev
from handsfree.events.record import json_schema
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.shipped import procedure_path
from handsfree.trades.registered_rules import OWN_RULES

TRADES = ("combustion", "cooling", "plumbing", "ventilation")


@pytest.fixture(scope="module")
def fans(tmp_path_factory):
    """A faultless visit of a fan, and one that was stopped for too little air."""
    root = tmp_path_factory.mktemp("fans")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
        record_fan(root / "faultless", FAULTLESS)
        record_fan(root / "too-little", TOO_LITTLE)
    return root


@pytest.fixture(scope="module")
def faultless(fans):
    return dossier_of(fans / "faultless", "ventilation")


def results(dossier_or_evidence) -> dict[str, tuple[AssessedAs, str]]:
    evidence = getattr(dossier_or_evidence, "evidence", dossier_or_evidence)
    return {i.says: (i.finding.result, i.finding.why) for line in judge(evidence) for i in line.items}


def changed(evidence: Evidence, change) -> Evidence:
    """The visit with each event replaced by what `change` returns for it; None takes it out."""
    steps = [replace(step, event=change(step.event)) for step in evidence.recorded.steps]
    steps = [step for step in steps if step.event is not None]
    return Evidence(replace(evidence.recorded, steps=tuple(steps)), evidence.report, evidence.alike)


def test_a_faultless_fan_visit_has_no_fail_and_nothing_that_cannot_be_told(faultless):
    """The list of another trade gave it 6 fails and 34 that could not be told."""
    assert faultless.evidence.finished
    assert faultless.count(AssessedAs.FAIL) == 0
    assert faultless.count(AssessedAs.CANNOT_TELL) == 0
    assert faultless.count(AssessedAs.PASS) >= 20


def test_the_reports_title_and_facts_are_the_fans(faultless):
    """No fuel, no boiler, no combustion; the air flows as found and as left."""
    report = paper_of(faultless)
    assert report.title == "Report: Extract fan commissioning"
    assert [row[:2] for row in report.measured] == [
        ["", "Air flow"],
        ["Kitchen, found", "10.5 L/s"],
        ["Kitchen, left", "21.5 L/s"],
        ["Bathroom, found and left", "8.0 L/s"],
        ["Toilet, found and left", "6.2 L/s"],
    ]
    assert "Fuel" not in dict(report.facts)
    text = printed.html(faultless).lower()
    for word in ("fuel", "natural gas", "combustion", "boiler", "co₂"):
        assert word not in text, word


def test_the_chart_shows_every_air_flow_and_its_limit(faultless):
    """Four readings of air flow with the limit of each room, and the fan's power."""
    flow, power = chart.draw(faultless.evidence).plots
    assert [point.says.split(" at ")[0] for point in flow.points] == [
        "Air flow 10.5", "Air flow 21.5", "Air flow 8.0", "Air flow 6.2"
    ]  # fmt: skip
    assert [bar.says[:11] for bar in flow.bars] == ["limits: 13 ", "limits: 13 ", "limits: 8 t", "limits: 6 t"]
    assert len(power.points) == 1
    heights = [point.y for point in flow.points]
    assert heights[1] < heights[0] < heights[2] < heights[3]


def test_too_little_air_fails_its_line_and_the_report_says_that_the_work_was_stopped(fans):
    """With the warning and what is still altered."""
    stopped = dossier_of(fans / "too-little", "ventilation")
    found = results(stopped)
    assert found["Air flow of every terminal keeps its limit"][0] == AssessedAs.FAIL
    assert found["Everything altered was put back"][0] == AssessedAs.FAIL
    report = paper_of(stopped)
    assert report.title == "Stopped and left off: Extract fan commissioning"
    assert any("10.5 L/s outside" in why for why in report.warning)


FAULTS = {
    "another house": (
        "Site is the one on the job sheet",
        lambda event: event.model_copy(update={"outcome": "different"})
        if isinstance(event, ev.GatePassed) and event.gate == "site" else event,
    ),
    "an open-flued appliance": (
        "No open-flued appliance in the dwelling",
        lambda event: event.model_copy(update={"outcome": "present"})
        if isinstance(event, ev.GatePassed) and event.gate == "open-flued" else event,
    ),
    "instrument out of date": (
        "Instrument of the job sheet in date",
        lambda event: event.model_copy(update={"calibrated_until": "2026-01-31"})
        if isinstance(event, ev.VisitOpened) else event,
    ),
    "windows open": (
        "Windows closed and the high rate running at each reading",
        lambda event: None if isinstance(event, ev.Altered) and event.thing == "windows" else event,
    ),
    "hood off": (
        "Hood on the terminal at each reading",
        lambda event: None if isinstance(event, ev.Altered) and event.thing == "hood" else event,
    ),
    "a flow that rose by itself": (
        "Every change of an air flow has its step of the valve",
        lambda event: None if isinstance(event, ev.Altered) and event.thing == "valve" else event,
    ),
    "one terminal of three outside": (
        "Air flow of every terminal keeps its limit",
        lambda event: event.model_copy(update={"outcome": "outside"})
        if isinstance(event, ev.VerdictGiven) and event.gate.startswith("bathroom/") else event,
    ),
    "one terminal of three never judged": (
        "Air flow of every terminal keeps its limit",
        lambda event: None
        if isinstance(event, ev.VerdictGiven) and event.gate.startswith("bathroom/") else event,
    ),
    "a limit without a source": (
        "Each limit has its source",
        lambda event: event.model_copy(update={"sources": ()}) if isinstance(event, ev.VerdictGiven) else event,
    ),
    "fan power left out": (
        "Fan power read",
        lambda event: None
        if isinstance(event, ev.ReadingAccepted) and event.reading.quantity == "fan_power" else event,
    ),
    "boost left on": (
        "Everything altered was put back",
        lambda event: None if isinstance(event, ev.Restored) and event.thing == "boost" else event,
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_of_a_fan_visit_fails_the_thing_that_it_breaks(faultless, fault):
    """Each passes on the faultless visit and fails once the fault is in the record."""
    says, change = FAULTS[fault]
    assert results(faultless)[says][0] == AssessedAs.PASS
    assert results(changed(faultless.evidence, change))[says][0] == AssessedAs.FAIL


def test_a_terminal_within_does_not_cover_another_outside(faultless):
    """The toilet, judged last and within, leaves the bathroom's warning standing; so too under the plain form."""
    bad = changed(faultless.evidence, FAULTS["one terminal of three outside"][1])
    assert any("8.0 L/s" in why for why in warning_due(bad))
    assert any("8.0 L/s" in why for why in warning_due(Evidence(replace(bad.recorded, trade="unheard-of"))))


def test_a_trade_without_forms_gets_a_plain_checklist_and_report(fans):
    """Put back, seal, units and what was asked for: fewer lines, and no other trade's."""
    plain = dossier_of(fans / "faultless", "unheard-of")
    assert plain.count(AssessedAs.FAIL) == plain.count(AssessedAs.CANNOT_TELL) == 0
    rules = {item.rule for line in forms_of("unheard-of").checklist.checklist for item in line.items}
    assert {"put-back", "seal", "units", "asked"} <= rules
    report = paper_of(plain)
    assert report.title == "Report: Extract fan commissioning"
    assert "Air flow 6.2 L/s" in report.others
    assert printed.pdf(plain).startswith(b"%PDF")
    assert chart.draw(plain.evidence).plots == []


def test_the_plain_checklist_fails_what_is_broken_in_any_trade(fans, tmp_path):
    """A thing left altered, a record that was changed, a procedure that is gone."""
    evidence = dossier_of(fans / "faultless", "unheard-of").evidence
    left = changed(evidence, FAULTS["boost left on"][1])
    assert results(left)["Everything altered was put back"][0] == AssessedAs.FAIL
    shutil.copytree(fans / "faultless", tmp_path / "tampered")
    ledger = tmp_path / "tampered" / "ledger.jsonl"
    ledger.write_text(ledger.read_text().replace('"value":"6.2"', '"value":"6.9"'))
    bad = dossier_of(tmp_path / "tampered", "unheard-of")
    seal = "The record is whole and its decisions follow from what was heard"
    assert results(bad)[seal][0] == AssessedAs.FAIL
    gone = Evidence(replace(evidence.recorded, plan=None, plan_fault="no such file"))
    assert results(gone)["The procedure and the sheets kept with the visit can be read"][0] == AssessedAs.FAIL


@pytest.mark.parametrize("name", ["../desk", "..", "", "combustion/..", "registered_rules.py"])
def test_a_trades_name_leads_to_no_other_folder(name):
    """A record may name anything."""
    assert forms_of(name).report == forms_of("unheard-of").report


def test_a_record_that_names_no_trade_is_one_of_combustion(recorded_short):
    """Those recorded before there were others."""
    assert load(recorded_short / "first").trade == "combustion"


@pytest.mark.parametrize("trade", [*TRADES, "unheard-of"])
def test_each_checklist_names_rules_that_exist_with_what_they_need(trade):
    """Raised by `rules_of` otherwise."""
    assert set(RULES) <= set(rules_of(trade))


def test_every_rule_is_used_by_some_checklist():
    """A rule that no list names is dead."""
    used = {
        item.rule for trade in [*TRADES, "unheard-of"] for line in forms_of(trade).checklist.checklist
        for item in line.items
    }  # fmt: skip
    registered = set(RULES) | {name for own in OWN_RULES.values() for name in own.rules}
    assert registered == used


def test_the_trades_with_forms_are_those_that_ship():
    """A third trade is data alone: cooling registers no Python."""
    assert forms.known() == TRADES
    assert "cooling" not in OWN_RULES
    assert "ventilation" not in OWN_RULES


def test_gates_and_things_of_the_fans_list_stand_in_the_shipped_procedure():
    """A renamed gate would silently become "cannot tell"."""
    procedure = load_procedure(procedure_path("extract-ventilation"))
    gates = {gate.rsplit("/", 1)[-1] for gate in procedure.gates}
    for line in forms_of("ventilation").checklist.checklist:
        for item in line.items:
            assert set(item.gates) <= gates, item.says
            assert set(item.things) <= procedure.things.keys(), item.says


def test_a_quantity_an_outcome_or_a_question_is_named_by_one_trade_only():
    """What is printed does not depend on which trade is read last."""
    for member in ("names", "outcomes", "happenings"):
        said = [name for trade in TRADES for name in getattr(forms_of(trade).report, member)]
        assert len(said) == len(set(said)), member
    asked = [question.name for trade in TRADES for question in forms_of(trade).report.across]
    assert len(asked) == len(set(asked))
    assert set(asked) <= QUESTIONS.keys()


def test_happenings_are_events_that_exist():
    """A renamed event would silently not be told."""
    for trade in TRADES:
        for kind in forms_of(trade).report.happenings:
            assert f'"{kind}"' in str(json_schema()).replace("'", '"'), kind


LIST = "checklist:\n  - line: A\n    items:\n"
BAD_LISTS = {
    "there is no rule 'guess'": LIST + "      - {says: B, rule: guess}\n",
    "the rule 'answered' needs gates and good": LIST + "      - {says: B, rule: answered}\n",
}


@pytest.mark.parametrize("says", BAD_LISTS)
def test_a_fault_of_a_checklist_is_told_with_its_line(says):
    """One sentence, with the file and the line."""
    document = parse_document(BAD_LISTS[says], "checklist.yaml")
    report = validate(ReportForm, read_document(forms.PLAIN / "plain-report.yaml"))
    with pytest.raises(Problem, match=says) as told:
        hold_against(Forms("x", validate(Checklist, document), report, document), RULES)
    assert "checklist.yaml:4" in told.value.sentence()


def test_an_unknown_key_of_a_form_is_told_with_its_line():
    """Not passed over."""
    document = parse_document("checklist:\n  - line: A\n    item: []\n", "checklist.yaml")
    with pytest.raises(Problem) as told:
        validate(Checklist, document)
    assert "checklist.yaml:" in told.value.sentence()


def test_the_page_of_a_fan_shows_its_own_headings_and_no_fuel(fans, tmp_path, monkeypatch):
    """The same template for every trade."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(site, "open_dossier", lambda folder, **_: dossier_of(folder, "ventilation"), raising=True)
    index = Index(fans)
    index.scan()
    browser = TestClient(site.Desk(index, Door()).application(), base_url="http://127.0.0.1:8470")
    text = browser.get(f"/visit/{key_of('faultless')}").text
    assert "Air flow of each terminal" in text
    assert "Kitchen, left" in text
    assert "<dt>Fuel</dt>" not in text
