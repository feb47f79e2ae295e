"""The trade is data alone, and its files agree with each other."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from handsfree.formulas.formula import FormulaInput, Given
from handsfree.measurement.verdict import Band, judge
from tests.formulas.documents import read
from tests.trades.cooling.cooling import FOLDER, content, formulas, result, tables

PROCEDURE = Path(__file__).parents[3] / "procedures" / "split-cooling-charge.yaml"
COMMON_FACTS = {"job.altitude_metre"}
"""What every trade's job sheet has."""


def gates() -> dict[str, dict[str, object]]:
    return {gate["id"]: gate for gate in read(PROCEDURE).content["gates"]}


def items() -> list[dict[str, object]]:
    return [item for line in content("checklist.yaml")["checklist"] for item in line["items"]]


def declared() -> set[str]:
    sheets = content("sheets.yaml")
    return COMMON_FACTS | {f"{sheet}.{name}" for sheet in ("job", "appliance") for name in sheets[sheet]}


def test_the_trade_holds_no_python() -> None:
    assert not list(FOLDER.rglob("*.py"))


def test_each_quantity_has_words_and_each_word_a_quantity() -> None:
    assert set(content("english.yaml")["quantities"]) == set(content("quantities.yaml"))


def test_what_is_usual_lies_in_the_range() -> None:
    for name, facts in content("quantities.yaml").items():
        for value in (facts["usual"], *facts.get("unusual", ())):
            assert facts["low"] <= value <= facts["high"], name


def test_every_fact_that_a_calculation_reads_is_declared() -> None:
    for formula in formulas().values():
        read_facts = {item.fact for item in (*formula.inputs, *formula.choices)} | {formula.band}
        read_facts |= {item.accuracy for item in formula.inputs}
        assert read_facts - {None} <= declared(), formula.name


def test_the_refrigerants_of_the_sheet_are_those_of_the_tables() -> None:
    assert content("sheets.yaml")["appliance"]["refrigerant"]["choices"] == list(tables())


def test_the_checklist_names_gates_quantities_and_calculations_that_exist() -> None:
    known = gates()
    for item in items():
        assert set(item.get("gates", ())) <= set(known), item
        assert set(item.get("quantities", ())) <= set(content("quantities.yaml")), item
        named = {*item.get("calculations", ()), item.get("calculation", "superheat")}
        assert named <= {*formulas(), "reading-in-limits"}, item
        answers = {answer for gate in item.get("gates", ()) for answer in known[gate].get("answers", {"done": 0})}
        assert set(item.get("good", ())) <= answers, item


def test_the_report_names_quantities_and_calculations_that_exist() -> None:
    report = content("report.yaml")
    axes = [*report["chart"], *report["measured"]["computed"]]
    assert {axis["calculation"] for axis in axes if "calculation" in axis} <= set(formulas())
    drawn = {axis["quantity"] for axis in axes if "quantity" in axis}
    assert drawn | set(report["measured"]["quantities"]) <= set(content("quantities.yaml"))
    assert {axis["maker_band"] for axis in axes if "maker_band" in axis} <= declared()


def test_every_hazard_has_an_order_a_source_and_a_way_back() -> None:
    hazards = content("english.yaml")["hazards"]
    assert {"refrigerant-leak", "frostbite", "high-pressure", "fire", "electric-shock", "stop-work"} <= set(
        hazards
    )
    for name, hazard in hazards.items():
        assert hazard["script"], name
        assert hazard["source"], name
        assert content("hazards.yaml")["stops"][name]["re_entry"], name


@pytest.mark.parametrize(("calculation", "line"), [("superheat", "suction"), ("subcooling", "liquid")])
def test_the_usual_readings_are_within_the_bands_of_the_example(calculation: str, line: str) -> None:
    """A visit at random begins from the usual values, so a faultless one must come out within."""
    job, appliance = (read(FOLDER / "example" / name).content for name in ("jobsheet.yaml", "split.yaml"))
    usual = {name: facts["usual"] for name, facts in content("quantities.yaml").items()}
    readings = {
        item.name: Given(Decimal(usual[str(item.quantity)]), item.unit, _standard(item, job))
        for item in formulas()[calculation].inputs
        if item.quantity
    }
    assert set(readings) == {f"{line}_pressure", f"{line}_line_temperature"}
    altitude = Given(Decimal(job["altitude_metre"]), "m")
    found = result(calculation, appliance["refrigerant"], altitude=altitude, **readings)
    band = appliance[calculation]
    limits = Band(Decimal(band["low"]), Decimal(band["high"]), f"page {band['page']}")
    assert judge(found.value, limits, found.uncertainty).outcome == "within"


def _standard(item: FormulaInput, job: dict[str, Decimal]) -> Decimal:
    """Limits of error as a standard uncertainty, JCGM 100:2008, 4.3.7."""
    return job[str(item.accuracy).removeprefix("job.")] / Decimal(3).sqrt()
