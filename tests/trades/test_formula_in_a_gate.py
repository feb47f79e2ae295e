"""A formula in an author's YAML, judged by limits that the gate writes: proven by unit, and judged on a visit."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handsfree.events import decisions as ev
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import load_sheets
from handsfree.procedure.trades import trade_data
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

JUDGED = "{quantity: suction_pressure, low: 6, high: 11, source: the maker's manual in hand}"


def procedure(folder: Path, limits: str) -> Procedure:
    """Return the template of cooling with its verdict on what the suction pressure means in the coil."""
    text = trade_data("cooling").template.replace("NAME", "coil")
    assert JUDGED in text
    text = text.replace(JUDGED, limits).replace("reading-in-limits", "evaporating-temperature")
    file = folder / "coil.yaml"
    file.write_text(text, "utf-8")
    return load_procedure(file)


def told(found: Procedure) -> str:
    return " ".join(str(finding) for finding in check(found).findings)


@pytest.mark.parametrize(
    ("limits", "what"),
    [
        ("{unit: K, low: 2, source: invented}", "evaporating-temperature comes in Cel, and its limits are in K"),
        ("{quantity: suction_pressure, low: 2, source: invented}", "its limits are in the unit of a quantity"),
    ],
)
def test_limits_in_another_unit_are_no_limits(tmp_path: Path, limits: str, what: str) -> None:
    assert what in told(procedure(tmp_path, limits))


def test_a_reading_is_not_judged_by_limits_without_its_quantity(tmp_path: Path) -> None:
    text = trade_data("cooling").template.replace("NAME", "coil")
    file = tmp_path / "coil.yaml"
    file.write_text(text.replace(JUDGED, "{unit: bar, low: 6, source: invented}"), "utf-8")
    assert "reading-in-limits judges a reading" in told(load_procedure(file))


# Training pages: R-410A at 118 psig, 8.14 bar, boils at 40 °F, 4.4 Cel; the gauges are worth 0.2 K.
@pytest.mark.parametrize(("low", "outcome"), [("2.0", "within"), ("4.3", "too-close"), ("7.0", "outside")])
def test_a_result_is_judged_on_a_visit_by_the_limits_of_its_gate(tmp_path: Path, low: str, outcome: str) -> None:
    coil = procedure(tmp_path, f"{{unit: Cel, low: {low}, source: invented}}")
    assert told(coil) == ""
    example = trade_data("cooling").example
    assert example is not None
    sheets, _ = load_sheets(example)
    refrigerant = sheets.appliance.model_copy(update={"refrigerant": "R410A"})
    visit = Rehearsal(Plan(coil, sheets.model_copy(update={"appliance": refrigerant})).check(), date(2026, 11, 5))
    visit.until_asking()
    for words in ("connected", "eight point one four", "yes"):
        visit.say(words)
        visit.until_asking()
    (verdict,) = [event for event in visit.events if isinstance(event, ev.VerdictGiven)]
    assert (verdict.gate, verdict.outcome) == ("in-limits", outcome)
