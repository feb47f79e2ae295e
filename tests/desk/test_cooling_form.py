"""A trade of data alone: an air-conditioner's charge check is judged, tabled and drawn without Python for it.

The visit is invented event by event: its gates and things are named as the trade's checklist names them, and the
values are those of an R32 unit of which nothing is claimed here. What superheat and subcooling are is the
calculations' own matter, and is held against publications there.
"""

from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace as Stub

import pytest

from handsfree.desk import chart
from handsfree.desk.dossier import Dossier
from handsfree.desk.evidence import AssessedAs, Evidence
from handsfree.desk.examination import readings
from handsfree.desk.forms import forms_of
from handsfree.desk.paper import paper_of
from handsfree.desk.record import Recorded, RecordedStep
from handsfree.desk.rules_done import warning_due
from handsfree.desk.supervision import judge
from handsfree.events import decisions as ev
from handsfree.ledger import RecordVerdict, VerificationReport
from handsfree.procedure.trades import trade_data

SOURCE = "frostmere-service.pdf, page 31, revision invented A"
BAND = {"superheat": "4 to 10", "subcooling": "4 to 9"}
FOUND = {"suction_pressure": ("7.10", "bar"), "liquid_pressure": ("24.1", "bar"),
         "suction_line_temperature": ("15.2", "Cel"), "liquid_line_temperature": ("38.6", "Cel")}  # fmt: skip
LEFT = {"suction_pressure": ("8.50", "bar"), "liquid_pressure": ("26.3", "bar"),
        "suction_line_temperature": ("12.1", "Cel"), "liquid_line_temperature": ("37.2", "Cel")}  # fmt: skip


def gate(**members):
    return Stub(gate=Stub(when={}, effects=Stub(follows=None, judges=None), **members))


def plan():
    """As much of a plan as the desk looks at."""
    listed = [item for line in forms_of("cooling").checklist.checklist for item in line.items]
    asked = {name: gate() for item in listed for name in item.gates}
    asks = tuple(Stub(quantity=quantity) for quantity in FOUND)
    gates = {
        **asked,
        "charge": gate(ask=asks, settle=Stub(wait_seconds=600)),
        "outdoors": gate(ask=(Stub(quantity="outdoor_temperature"),)),
        "warm-enough": gate(
            calculation="reading-in-limits", using={"readings": "outdoors"},
            limits=Stub(quantity="outdoor_temperature", low=Decimal(18), high=None, source="manual"),
        ),
        "superheat": gate(calculation="superheat", using={"readings": "charge"}),
        "subcooling": gate(calculation="subcooling", using={"readings": "charge"}),
    }  # fmt: skip
    warm = Stub(low=Decimal(4), high=Decimal(10), page=31)
    cold = Stub(low=Decimal(4), high=Decimal(9), page=31)
    sheets = Stub(
        job=Stub(appliance="frostmere.yaml"),
        appliance=Stub(version="invented A", refrigerant="R32", superheat=warm, subcooling=cold,
                       manual=Stub(file="frostmere-service.pdf", revision="invented A")),
    )  # fmt: skip
    for (name, placed), then in zip(gates.items(), [*list(gates)[1:], "finish"], strict=True):
        placed.id, placed.transitions = name, {"done": then}
    trade = trade_data("cooling")
    procedure = Stub(gates=gates, first=next(iter(gates)), file=Stub(trade="cooling"), trade=trade)
    things = {name: Stub(said=name.capitalize(), altered="on", restored="off") for name in ("hoses", "thermostat")}
    return Stub(procedure=procedure, trade=trade.functions, gate=gates.__getitem__, sheets=sheets, things=things)


class Told:
    """The events of a visit with a clock."""

    def __init__(self):
        self.steps = []
        self.at = 0
        self.add(ev.VisitOpened, schema_version=2, decision_version="", program="test", procedure="charge",
                 procedure_sha256="", sheets_sha256={}, model_sha256=None, day="2026-11-25", job="j", site="s",
                 technician="t", licence="l", appliance="Frostmere", serial="F1", instrument="Manifold",
                 instrument_serial="M1", calibrated_until="2027-01-01")  # fmt: skip

    def add(self, kind, **members):
        if "at" in kind.model_fields:
            members["at"] = self.at
        event = kind(**members)
        self.steps.append(RecordedStep(len(self.steps), "", self.at, event.kind, event))

    def passed(self, name, outcome):
        self.at += 5_000
        self.add(ev.GateEntered, gate=name, title=name)
        self.add(ev.GatePassed, gate=name, outcome=outcome, to="")

    def charge(self, values):
        self.add(ev.GateEntered, gate="charge", title="Readings")
        self.at += 601_000
        for number in (1, 2, 3):
            for quantity, (value, unit) in values.items():
                self.at += 1_000
                self.accept("charge", number, quantity, value, unit)
            self.at += 30_000
        for quantity, (value, unit) in values.items():
            self.add(ev.ValueSettled, kept_at="charge", reading=record(quantity, value, unit), uncertainty="0.05")

    def accept(self, name, number, quantity, value, unit):
        self.add(ev.ReadingAccepted, gate=name, kept_at=name, number=number, how="affirmed",
                 reading=record(quantity, value, unit))  # fmt: skip

    def verdict(self, name, value, outcome, calculation=""):
        self.at += 1_000
        self.add(ev.VerdictGiven, gate=name, calculation=calculation or name, outcome=outcome,
                 demonstrated=outcome == "within", rule="simple", sources=(SOURCE,),
                 numbers={"value": f"{value} K", "band": BAND.get(name, "")},
                 sentence=f"{name} {value}: {outcome}")  # fmt: skip


def record(quantity, value, unit):
    return ev.ReadingRecord(quantity=quantity, value=value, unit=unit, resolution="0.1")


@pytest.fixture(scope="module")
def dossier():
    told = Told()
    good = {name: item.good[0] for line in forms_of("cooling").checklist.checklist for item in line.items
            for name in item.gates}  # fmt: skip
    last = {"detector-after", "label"}
    for name, outcome in good.items():
        if name not in last:
            told.passed(name, outcome)
    told.add(ev.GateEntered, gate="outdoors", title="Outdoors")
    told.accept("outdoors", 1, "outdoor_temperature", "31.5", "Cel")
    told.verdict("warm-enough", "31.5", "within", "reading-in-limits")
    for thing in ("hoses", "thermostat"):
        told.add(ev.Altered, thing=thing, gate="hoses-on")
    told.charge(FOUND)
    told.verdict("superheat", "14.9", "outside")
    told.verdict("subcooling", "1.2", "outside")
    told.charge(LEFT)
    told.verdict("superheat", "6.3", "within")
    told.verdict("subcooling", "5.8", "within")
    for thing in ("hoses", "thermostat"):
        told.add(ev.Restored, thing=thing, gate="put-back")
    for name in last:
        told.passed(name, good[name])
    told.add(ev.VisitClosed, outcome="finished", still_altered=(), not_done=(), readings=25, verdicts={})
    recorded = Recorded(Path(), tuple(told.steps), plan=plan(), trade="cooling")
    report = VerificationReport(Path(), RecordVerdict.CLOSED, "whole", None, (), ("decisions",), ())
    return Dossier(Evidence(recorded, report, alike=[]), report)


def test_a_faultless_charge_check_has_no_fail(dossier):
    """Only the digests of its sheets cannot be told: this visit was never written to a folder."""
    judged = [item for line in judge(dossier.evidence) for item in line.items]
    assert [item.says for item in judged if item.finding.result == AssessedAs.FAIL] == []
    unsure = {item.says for item in judged if item.finding.result == AssessedAs.CANNOT_TELL}
    assert unsure == {"The sheets in the folder are those that were run"}


def test_found_and_left_stand_side_by_side_with_what_was_worked_out(dossier):
    """Four readings with their units, superheat and subcooling, and the verdict on both."""
    assert paper_of(dossier).measured == [
        ["", "Found", "Left"],
        ["Suction pressure", "7.10 bar", "8.50 bar"],
        ["Liquid pressure", "24.1 bar", "26.3 bar"],
        ["Suction line temperature", "15.2 °C", "12.1 °C"],
        ["Liquid line temperature", "38.6 °C", "37.2 °C"],
        ["Superheat", "14.9 K", "6.3 K"],
        ["Subcooling", "1.2 K", "5.8 K"],
        ["Judged", "outside", "within"],
        ["While read", "Hoses on; Thermostat on", "Hoses on; Thermostat on"],
    ]


def test_the_chart_draws_superheat_and_subcooling_in_the_makers_bands(dossier):
    """And the four readings below them."""
    superheat, subcooling, *others = chart.draw(dossier.evidence).plots
    assert [len(plot.points) for plot in (superheat, subcooling)] == [2, 2]
    assert superheat.bars[0].says == "maker's band: 4 to 10, page 31"
    assert subcooling.bars[0].says == "maker's band: 4 to 9, page 31"
    assert len(others) == 4
    assert all(len(plot.points) == 6 for plot in others)


def test_the_report_names_the_refrigerant_and_no_fuel(dossier):
    """A fact of the appliance sheet; a fact of another trade has no place here."""
    report = paper_of(dossier)
    assert report.title == "Report: charge"
    assert dict(report.facts)["Refrigerant"] == "R32"
    assert "Fuel" not in dict(report.facts)
    assert warning_due(dossier.evidence) == []


def test_questions_across_visits_find_what_was_worked_out(dossier):
    """Subcooling as found and as left, for its drift."""
    rows = [row for row in readings(dossier.evidence) if row["quantity"] == "subcooling"]
    assert [(row["at_time"], row["value"]) for row in rows] == [("found", 1.2), ("left", 5.8)]
