"""The calculations behind verdicts: registered as declared, every outcome reached, values from outside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from types import MappingProxyType
from typing import Any

import pytest
from rehearsed import places, plan_with, sheets, shipped, with_fuel, with_job

from handsfree.events import decisions as ev
from handsfree.events.state import ReadingSet, State
from handsfree.gates.block import Limits
from handsfree.gates.verdict import VerdictGate
from handsfree.session.calculations import judge
from handsfree.session.plan import Plan
from handsfree.trades.calculation import Judgement
from handsfree.trades.combustion.trade import COMBUSTION
from handsfree.trades.sheets import Sheets

BASE = places()["site", "gate"].state

Values = Mapping[str, str]
SETS: dict[str, dict[str, dict[str, str]]] = {
    "found": {"found-maximum": {"co2": "9.40", "o2": "4.40", "co": "18"}},
    "rates": {"found-maximum": {"co2": "9.40"}, "found-minimum": {"co2": "9.38"}},
    "passes": {"first-maximum": {"co2": "9.40"}, "second-maximum": {"co2": "9.50"}},
    "supply": {"standing": {"standing_pressure": "21.5"}, "working": {"working_pressure": "19.8"}},
    "input": {"input-found": {"gas_volume_metric": "0.050", "meter_time": "80.5"}},
    "duct": {"air-duct": {"air_duct_o2": "20.9", "air_duct_co2": "0.05"}},
    "ambient": {"ambient-entry": {"ambient_co": "2"}},
    "flow": {"air-flow": {"flow_temperature": "31"}},
}
IN_LIMITS = VerdictGate(
    kind="verdict",
    id="air-flow-verdict",
    title="Air flow",
    calculation="reading-in-limits",
    using={"readings": "air-flow"},
    limits=Limits(quantity="flow_temperature", low=Decimal(30), accuracy=Decimal(2), source="written here"),
    branches={},
)

GATES = {
    "instrument-in-date": "analyser-date",
    "ambient-clear": "ambient-entry-verdict",
    "combustion-at-rate": "found-maximum-verdict",
    "rates-compared": "found-rule",
    "passes-agree": "maximum-agrees",
    "supply-pressure": "supply-verdict",
    "gas-input": "input-found/input-verdict",
    "air-duct-clear": "air-duct-verdict",
}
USUAL = {
    "instrument-in-date": {},
    "ambient-clear": SETS["ambient"],
    "combustion-at-rate": SETS["found"],
    "rates-compared": SETS["rates"],
    "passes-agree": SETS["passes"],
    "supply-pressure": SETS["supply"],
    "gas-input": SETS["input"],
    "air-duct-clear": SETS["duct"],
    "reading-in-limits": SETS["flow"],
}


def state_with(read: Mapping[str, Values], doubted: str = "", **other: Any) -> State:
    """Return a state that holds these readings, by place and quantity; their pairs doubted for a reason."""
    quantities = shipped().catalogue.quantities
    sets = {}
    for kept_at, values in read.items():
        records = {}
        for quantity, value in values.items():
            unit = quantities[quantity].unit if quantity in quantities else "s"
            step = value.partition(".")[2]
            resolution = "0." + "0" * (len(step) - 1) + "1" if step else "1"
            records[quantity] = ev.ReadingRecord(quantity=quantity, value=value, unit=unit, resolution=resolution)
        sets[kept_at] = (ReadingSet(1, 0, MappingProxyType(records), complete=True, doubted=doubted),)
    return replace(BASE, sets=MappingProxyType(sets), **other)


def judged(
    name: str, change: Mapping[str, Values] | None = None, *, on: Sheets | None = None, **other: Any
) -> Judgement:
    """Return the judgement of one calculation of the shipped visit, with some readings changed."""
    plan: Plan = shipped() if on is None else plan_with(on)
    gate = plan.gate(GATES[name]).gate if name in GATES else IN_LIMITS
    judging = gate.effects.judges
    assert judging is not None
    usual: dict[str, dict[str, str]] = {kept: dict(values) for kept, values in USUAL[name].items()}
    for kept, values in (change or {}).items():
        usual[kept] = {**usual.get(kept, {}), **values}
        usual[kept] = {quantity: value for quantity, value in usual[kept].items() if value}
    return judge(plan, state_with(usual, **other), judging)


OLD = sheets().job.instrument.model_copy(update={"calibrated_until": date(2026, 11, 24)})

CASES: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("instrument-in-date", "within", {}),
    ("instrument-in-date", "outside", {"on": with_job(instrument=OLD)}),
    ("ambient-clear", "within", {"change": {"ambient-entry": {"ambient_co": "9"}}}),
    ("ambient-clear", "find-source", {"change": {"ambient-entry": {"ambient_co": "10"}}}),
    ("ambient-clear", "missing", {"change": {"ambient-entry": {"ambient_co": ""}}}),
    ("combustion-at-rate", "within", {}),
    ("combustion-at-rate", "outside", {"change": {"found-maximum": {"co2": "8.20"}}}),
    ("combustion-at-rate", "too-close", {"change": {"found-maximum": {"co2": "8.89"}}}),
    ("combustion-at-rate", "carbon-monoxide-high", {"change": {"found-maximum": {"co": "150"}}}),
    ("combustion-at-rate", "no-limit", {"on": with_fuel(co2={})}),
    ("combustion-at-rate", "missing", {"change": {"found-maximum": {"o2": ""}}}),
    ("combustion-at-rate", "missing", {"doubted": "no pair"}),
    ("rates-compared", "within", {}),
    ("rates-compared", "outside", {"change": {"found-minimum": {"co2": "8.90"}}}),
    ("rates-compared", "too-close", {"change": {"found-minimum": {"co2": "9.19"}}}),
    ("rates-compared", "no-limit", {"on": with_fuel(between_rates=None)}),
    ("rates-compared", "missing", {"change": {"found-minimum": {"co2": ""}}}),
    ("passes-agree", "within", {"change": {"second-maximum": {"co2": "9.60"}}}),
    ("passes-agree", "outside", {"change": {"second-maximum": {"co2": "9.61"}}}),
    ("passes-agree", "missing", {"change": {"second-maximum": {"co2": ""}}}),
    ("supply-pressure", "within", {"change": {"working": {"working_pressure": "10.0"}}}),
    ("supply-pressure", "outside", {"change": {"working": {"working_pressure": "9.9"}}}),
    ("supply-pressure", "no-limit", {"on": with_fuel(working_pressure=None)}),
    ("supply-pressure", "missing", {"change": {"standing": {"standing_pressure": ""}}}),
    ("gas-input", "within", {}),
    ("gas-input", "outside", {"change": {"input-found": {"meter_time": "60.5"}}}),
    ("gas-input", "too-close", {"change": {"input-found": {"meter_time": "84.5"}}}),
    ("gas-input", "no-limit", {"on": with_fuel(input_kilowatt={})}),
    ("gas-input", "no-limit", {"on": with_job(meter=None)}),
    ("gas-input", "missing", {"change": {"input-found": {"meter_time": ""}}}),
    ("air-duct-clear", "within", {"change": {"air-duct": {"air_duct_o2": "20.6", "air_duct_co2": "0.20"}}}),
    ("air-duct-clear", "outside", {"change": {"air-duct": {"air_duct_o2": "20.5"}}}),
    ("air-duct-clear", "outside", {"change": {"air-duct": {"air_duct_co2": "0.21"}}}),
    ("reading-in-limits", "within", {}),
    ("reading-in-limits", "outside", {"change": {"air-flow": {"flow_temperature": "26"}}}),
    ("reading-in-limits", "too-close", {"change": {"air-flow": {"flow_temperature": "29"}}}),
    ("reading-in-limits", "missing", {"change": {"air-flow": {"flow_temperature": ""}}}),
    ("air-duct-clear", "missing", {"change": {"air-duct": {"air_duct_co2": ""}}}),
)


@pytest.mark.parametrize(
    ("name", "outcome", "how"), CASES, ids=[f"{name}: {outcome}" for name, outcome, _ in CASES]
)
def test_each_outcome_is_reached(name: str, outcome: str, how: dict[str, Any]) -> None:
    """Edges included; what is said and the sentence are never empty."""
    judgement = judged(name, **how)
    assert judgement.outcome == outcome
    assert judgement.spoken
    assert judgement.sentence


def test_the_cases_cover_every_declared_outcome() -> None:
    """And reach none that is not declared."""
    reached = {(name, outcome) for name, outcome, _ in CASES}
    assert reached == {(name, one) for name, one_of in COMBUSTION.calculations.items() for one in one_of.outcomes}


def test_a_verdict_carries_its_rule_its_numbers_and_its_source() -> None:
    """File, page and revision of the maker's band, the value and its standard uncertainty."""
    judgement = judged("combustion-at-rate")
    assert judgement.rule.startswith("simple acceptance (JCGM 106 8.2)")
    assert judgement.sources == ("larkmoor-24-installation.pdf, page 41, revision invented A",)
    assert judgement.numbers["value"] == "9.40"
    assert judgement.demonstrated


def test_air_free_carbon_monoxide_decides_on_the_makers_basis() -> None:
    """100 ppm at 9 % O2 is 175.6 ppm air-free: 20.9/(20.9 - 9) (ANSI Z21 air-free form); 180 ppm fails guarded."""
    co = sheets().fuel.co
    assert co is not None
    high = with_fuel(co=co.model_copy(update={"high": Decimal(180)}))
    lean = {"found-maximum": {"co": "100", "o2": "9.00", "co2": "6.70"}}
    judgement = judged("combustion-at-rate", lean, on=high)
    assert judgement.outcome == "carbon-monoxide-high"
    assert Decimal(judgement.numbers["value"]) == Decimal("175.6")


def test_the_ratio_of_carbon_monoxide_to_dioxide() -> None:
    """360 ppm at 9 % CO2 is 0.0040, the UK default for condensing boilers (SAFETY A7)."""
    co = sheets().fuel.co
    assert co is not None
    ratio = with_fuel(co=co.model_copy(update={"basis": "ratio", "high": Decimal("0.0040")}))
    judgement = judged(
        "combustion-at-rate", {"found-maximum": {"co": "361", "co2": "9.00", "o2": "5.10"}}, on=ratio
    )
    assert judgement.outcome == "carbon-monoxide-high"
    assert Decimal(judgement.numbers["value"]) == Decimal("0.00401")


def test_a_guarded_limit_fails_within_the_expanded_uncertainty() -> None:
    """Limit 100 ppm, U = 20 ppm (k = 2): accepted up to 100 - 1.96 u = 80.4 (JCGM 106:2012, 8.3.2; ILAC-G8)."""
    co = sheets().fuel.co
    assert co is not None
    tight = with_fuel(co=co.model_copy(update={"basis": "as measured", "high": Decimal(100)}))
    passes = judged("combustion-at-rate", {"found-maximum": {"co": "80"}}, on=tight)
    fails = judged("combustion-at-rate", {"found-maximum": {"co": "81"}}, on=tight)
    assert (passes.outcome, fails.outcome) == ("within", "carbon-monoxide-high")


def test_heat_input_by_meter_timing() -> None:
    """0.050 m3 in 72 s at 38.0 MJ/m3 is 26.39 kW before correction: 0.05 * 38000 / 72 (definition of power)."""
    on = with_job(altitude_metre=Decimal(0))
    judgement = judged("gas-input", {"input-found": {"meter_time": "72.0"}}, on=on)
    kilowatt = float(judgement.numbers["kilowatt"])
    # Meter at 2 kPa (20 mbar) above 101.325 kPa and 15 degrees, referred to 15 degrees and 101.325 kPa: 1.01974.
    assert kilowatt == pytest.approx(26.389 * (101.325 + 2.0) / 101.325, abs=0.02)


def test_half_to_even_edges_of_the_band_count_as_inside() -> None:
    """8.9 itself is in 8.9 to 9.9 by simple acceptance (JCGM 106:2012, 8.2), not demonstrated."""
    judgement = judged("combustion-at-rate", {"found-maximum": {"co2": "8.90"}})
    assert (judgement.outcome, judgement.demonstrated) == ("within", False)
