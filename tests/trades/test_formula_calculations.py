"""A calculation that is a formula: worked out from readings and sheets, judged by guarded acceptance."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import handsfree
from handsfree.gates.block import Limits
from handsfree.measurement.reading import Reading
from handsfree.measurement.uncertainty import of_resolution
from handsfree.trades.calculation import (
    MISSING,
    NO_LIMIT,
    OUTSIDE,
    TOO_CLOSE,
    WITHIN,
    Case,
    JudgedValue,
    Judgement,
)
from handsfree.trades.folder import folder_of
from handsfree.trades.formula_calculations import READINGS, calculations_of
from handsfree.trades.sheets import MakerBand

D = Decimal
FOLDER = Path(handsfree.__file__).parent / "trades" / "cooling"
COOLING = calculations_of(folder_of(FOLDER))
BAR_IN_PSI = 0.0689475729


class Plainly:
    """Says everything by its name."""

    def say(self, saying: str, **blanks: str) -> str:
        return f"{saying}: {' '.join(blanks.values())}"

    def subject(self, key: str) -> str:
        return key

    def name(self, quantity: str) -> str:
        return quantity

    def digits(self, number: Decimal) -> str:
        return f"{number}"

    def value(self, value: JudgedValue) -> str:
        return f"{value.number}"


def sheets(low: str | None = None, high: str | None = None, **job: Any) -> Any:
    """Return invented sheets; the band of superheat as given, none without edges."""
    edges = [None if edge is None else D(edge) for edge in (low, high)]
    band = None if edges == [None, None] else MakerBand(low=edges[0], high=edges[1], page=12)
    refrigerant = job.pop("refrigerant", "R410A")
    facts = {"altitude_metre": D(0), "gauge_accuracy": D("0.10"), "thermometer_accuracy": D("0.5"), **job}
    appliance = SimpleNamespace(
        refrigerant=refrigerant, superheat=band, source=lambda page: f"manual, page {page}"
    )
    return SimpleNamespace(job=SimpleNamespace(**facts), appliance=appliance)


def value(quantity: str, text: str, unit: str) -> JudgedValue:
    reading = Reading.written(quantity, text, unit)
    return JudgedValue(reading, 0.0, of_resolution(float(reading.resolution)))


# Training pages: R-410A at 118 psig boils at 40 °F, so a suction line of 52 °F has 12 °F of superheat: 6.7 K.
READ = {
    "suction_pressure": value("suction_pressure", f"{118 * BAR_IN_PSI:.2f}", "bar"),
    "suction_line_temperature": value("suction_line_temperature", "11.1", "Cel"),
}
SUPERHEAT = 12 / 1.8


def judged(on: Any, read: dict[str, JudgedValue] | None = None, name: str = "superheat", **more: Any) -> Judgement:
    case = Case(on, date(2026, 11, 25), Plainly(), {READINGS: READ if read is None else read}, **more)
    judgement = COOLING[name].judge(case)
    assert judgement.outcome in COOLING[name].outcomes
    return judgement


def test_the_result_is_that_of_the_example_with_all_that_went_in() -> None:
    """The value, its unit and uncertainty, the formula, each input, the table, and where all is from."""
    judgement = judged(sheets("5.0", "8.5"))
    assert judgement.outcome == WITHIN
    assert float(judgement.numbers["value"]) == pytest.approx(SUPERHEAT, abs=0.3)
    assert judgement.numbers["unit"] == "K"
    assert judgement.numbers["suction_line_temperature"].startswith(
        "11.1 Cel, u 0.29"
    )  # 0.5/√3 and 0.1/√12: 0.290
    assert judgement.numbers["suction_pressure"].startswith("8.14 bar, u 0.05")  # 0.10/√3 = 0.0577
    assert "R410A" in judgement.numbers["refrigerant"]
    assert "suction_line_temperature - evaporating_temperature" in judgement.numbers["formula"]
    assert judgement.sources[0] == "manual, page 12"
    assert judgement.rule.startswith("guarded acceptance (JCGM 106 8.3.2")


def test_the_uncertainty_of_gauge_and_thermometer_is_carried() -> None:
    """R-410A's dew line rises 3.5 K per bar at 9.2 bar absolute (published tables): 0.058 bar is 0.20 K.

    With 0.29 K of the thermometer and 0.03 K of 10 mbar of weather, 0.35 K (JCGM 100:2008, 5.1.2).
    """
    judgement = judged(sheets("5.0", "8.5"))
    assert float(judgement.numbers["standard uncertainty"]) == pytest.approx(0.36, abs=0.03)


@pytest.mark.parametrize(
    ("uncertainties", "outcome"),
    [("2.1", WITHIN), ("1.9", TOO_CLOSE), ("-1.9", TOO_CLOSE), ("-2.1", OUTSIDE)],
)
@pytest.mark.parametrize("edge", ["low", "high"])
def test_the_guard_band_is_the_expanded_uncertainty(edge: str, uncertainties: str, outcome: str) -> None:
    """JCGM 106:2012, 8.3.2, and ILAC-G8: accepted from 1.96 standard uncertainties inside the limit."""
    plain = judged(sheets("0.0", "30.0")).numbers
    room = D(uncertainties) * D(plain["standard uncertainty"])
    at = D(plain["value"]) - room if edge == "low" else D(plain["value"]) + room
    assert judged(sheets(**{edge: f"{at}"})).outcome == outcome


def test_without_a_band_on_the_sheet_there_is_no_limit() -> None:
    judgement = judged(sheets())
    assert (judgement.outcome, judgement.sentence) == (NO_LIMIT, "no limit loaded for superheat: see the manual")


@pytest.mark.parametrize("quantity", list(READ))
def test_a_reading_that_lacks_is_named(quantity: str) -> None:
    rest = {name: one for name, one in READ.items() if name != quantity}
    judgement = judged(sheets("5.0", "8.5"), rest)
    assert (judgement.outcome, judgement.sentence) == (MISSING, f"{quantity}: no reading to judge")


@pytest.mark.parametrize(
    ("on", "read", "why"),
    [
        ({"refrigerant": "R12"}, {}, "there is no table of saturation for R12"),
        ({"refrigerant": None}, {}, "there is no table of saturation for None"),
        ({"gauge_accuracy": None}, {}, "the sheets give no number as job.gauge_accuracy"),
        ({}, {"suction_pressure": value("suction_pressure", "90.00", "bar")}, "is outside the table 'R410A'"),
    ],
)
def test_numbers_without_a_result_are_told_and_judge_nothing(
    on: Any, read: dict[str, JudgedValue], why: str
) -> None:
    judgement = judged(sheets("5.0", "8.5", **on), {**READ, **read})
    assert judgement.outcome == MISSING
    assert why in judgement.sentence


def test_a_reading_in_other_units_is_the_same_reading() -> None:
    """118 psig and 52 °F themselves, the limits of error still in bar and K."""
    other = {
        "suction_pressure": value("suction_pressure", "118.0", "[psi]"),
        "suction_line_temperature": value("suction_line_temperature", "52.0", "[degF]"),
    }
    judgement = judged(sheets("5.0", "8.5"), other)
    assert judgement.outcome == WITHIN
    assert float(judgement.numbers["value"]) == pytest.approx(SUPERHEAT, abs=0.3)
    assert float(judgement.numbers["standard uncertainty"]) == pytest.approx(0.36, abs=0.03)


@pytest.mark.parametrize(
    ("low", "outcome"),
    # The pages' example: R-410A at 118 psig boils at 40 °F, 4.4 Cel; two standard uncertainties are half a kelvin.
    [("3.5", WITHIN), ("4.2", TOO_CLOSE), ("4.8", TOO_CLOSE), ("5.5", OUTSIDE)],
)
def test_limits_written_in_the_gate_judge_a_result_by_its_uncertainty(low: str, outcome: str) -> None:
    """JCGM 106:2012, 8.3.2: 0.058 bar of the gauge at 3.5 K per bar, and 10 mbar of weather, leave 0.2 K."""
    limits = Limits(unit="Cel", low=D(low), source="invented")
    judgement = judged(sheets(), name="evaporating-temperature", limits=limits)
    assert judgement.outcome == outcome
    assert float(judgement.numbers["value"]) == pytest.approx(40 / 1.8 - 32 / 1.8, abs=0.15)
    assert float(judgement.numbers["standard uncertainty"]) == pytest.approx(0.2, abs=0.05)
    assert judgement.rule.startswith("guarded acceptance (JCGM 106 8.3.2")
    assert judgement.sources == ("invented",)


def test_a_formula_without_a_band_takes_its_limits_from_the_gate_and_one_with_a_band_does_not() -> None:
    assert COOLING["evaporating-temperature"].limits
    assert not COOLING["superheat"].limits
    assert NO_LIMIT not in COOLING["evaporating-temperature"].outcomes
    assert "air-pressure" not in COOLING  # it reads nothing


@pytest.mark.parametrize(
    ("written", "fault"),
    [
        ({"low": D(2)}, "name the quantity of a reading, or the unit of a formula's result"),
        ({"low": D(2), "unit": "Cel", "quantity": "suction_pressure"}, "name the quantity of a reading, or"),
        ({"low": D(2), "unit": "Cel", "accuracy": D(1)}, "a formula carries the uncertainty of what goes into it"),
    ],
)
def test_limits_of_a_result_name_their_unit_and_no_accuracy(written: dict[str, Any], fault: str) -> None:
    with pytest.raises(ValueError, match=fault):
        Limits(source="invented", **written)
