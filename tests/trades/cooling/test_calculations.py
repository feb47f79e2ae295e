"""Superheat, subcooling and what they stand on, against worked examples of makers and training material."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from handsfree.measurement.verdict import Band, judge
from tests.trades.cooling.cooling import formulas, given, result
from tests.trades.cooling.published import CHARGING_CHART, PSI, SEA_LEVEL
from tests.trades.cooling.saturation_nodes import property_of

FAHRENHEIT = 1.8
CHART = [(psig, *pair) for psig, row in CHARGING_CHART.items() for pair in row.items()]


@pytest.mark.parametrize(
    ("metre", "millibar"), [(0, 1013), (500, 955), (1000, 899), (1500, 846), (2000, 795), (3000, 701)]
)
def test_the_pressure_of_the_air_is_that_of_the_standard_atmosphere(metre: int, millibar: int) -> None:
    """ISO 2533:1975 as tabulated, from memory: 1,013.25, 954.61, 898.75, 845.56, 794.95 and 701.09 hPa."""
    assert result("air-pressure", altitude=given(metre, "m")).value == millibar


@pytest.mark.parametrize(("psig", "subcooling", "line"), CHART)
def test_subcooling_is_that_of_the_makers_charging_chart(psig: int, subcooling: int, line: int) -> None:
    """The chart is in whole degrees, so half of one on each side, and 0.1 K between the property equations."""
    found = result(
        "subcooling",
        "R410A",
        liquid_pressure=given(psig, "[psi]"),
        liquid_line_temperature=given(line, "[degF]"),
    )
    assert float(found.value) * FAHRENHEIT == pytest.approx(subcooling, abs=1.0)


def test_a_service_manuals_example_of_subcooling() -> None:
    """C-Series water-cooled units, R-410A, page 63: 388 psig less 33 psig, 95.0 °F: 108.0 - 95.0 = 13.0 °F."""
    found = result(
        "subcooling",
        "R410A",
        liquid_pressure=given(388 - 33, "[psi]"),
        liquid_line_temperature=given("95.0", "[degF]"),
    )
    assert float(found.value) * FAHRENHEIT == pytest.approx(13.0, abs=0.5)


def test_a_training_pages_example_of_superheat() -> None:
    """Training pages: R-410A at 118 psig boils at 40 °F, so a suction line of 52 °F has 12 °F of superheat."""
    found = result(
        "superheat",
        "R410A",
        suction_pressure=given(118, "[psi]"),
        suction_line_temperature=given(52, "[degF]"),
    )
    assert float(found.value) * FAHRENHEIT == pytest.approx(12, abs=0.5)


@pytest.mark.parametrize(("wet_bulb", "outdoor", "target"), [(64, 96, 8), (63, 95, 7)])
def test_the_target_of_a_fixed_orifice(wet_bulb: int, outdoor: int, target: int) -> None:
    """Training pages on fixed orifices (acservicetech.com): wet bulb 64 °F and 96 °F outside give 8 °F."""
    found = result(
        "target-superheat",
        indoor_wet_bulb=given(wet_bulb, "[degF]"),
        outdoor_temperature=given(outdoor, "[degF]"),
    )
    assert float(found.value) * FAHRENHEIT == pytest.approx(target, abs=0.1)
    celsius = result(
        "target-superheat",
        indoor_wet_bulb=given(f"{(wet_bulb - 32) / 1.8:.4f}", "Cel"),
        outdoor_temperature=given(f"{(outdoor - 32) / 1.8:.4f}", "Cel"),
    )
    assert celsius.value == found.value


@pytest.mark.parametrize(
    ("refrigerant", "fluid"), [("R32", "R32"), ("R410A", "R410A"), ("R454B", "HEOS::R454B.mix")]
)
@pytest.mark.parametrize("metre", [0, 1500])
def test_superheat_takes_dew_and_subcooling_takes_bubble_at_the_absolute_pressure(
    refrigerant: str, fluid: str, metre: int
) -> None:
    """CoolProp at gauge pressure plus the pressure of the air on site."""
    air = 101325 * (1 - 0.0065 * metre / 288.15) ** 5.25588
    dew = property_of("T", "P", 8.37e5 + air, "Q", 1, fluid) - 273.15
    bubble = property_of("T", "P", 25.3e5 + air, "Q", 0, fluid) - 273.15
    altitude = given(metre, "m")
    superheat = result(
        "superheat", refrigerant, altitude=altitude,
        suction_pressure=given("8.37", "bar"), suction_line_temperature=given("12.4", "Cel"),
    )  # fmt: skip
    subcooling = result(
        "subcooling", refrigerant, altitude=altitude,
        liquid_pressure=given("25.3", "bar"), liquid_line_temperature=given("35.6", "Cel"),
    )  # fmt: skip
    assert float(superheat.value) == pytest.approx(12.4 - dew, abs=0.07)
    assert float(subcooling.value) == pytest.approx(bubble - 35.6, abs=0.07)


def test_forgetting_the_altitude_would_cost_half_a_kelvin() -> None:
    """At 1,500 m a gauge shows the same for 0.168 bar less of absolute pressure: 0.6 K of R-410A's dew point."""
    readings = {"suction_pressure": given("7.50", "bar"), "suction_line_temperature": given("10.0", "Cel")}
    low = result("superheat", "R410A", **readings)
    high = result("superheat", "R410A", altitude=given(1500, "m"), **readings)
    assert high.value - low.value == Decimal("0.6")


def test_uncertainty_of_superheat_agrees_with_monte_carlo() -> None:
    """JCGM 101:2008: 200,000 draws through CoolProp's own curve, drawn by numpy."""
    u_gauge, u_line, u_air, u_table = 0.08, 0.35, 0.010, 0.1
    found = result(
        "superheat", "R410A",
        suction_pressure=given("8.20", "bar", str(u_gauge)),
        suction_line_temperature=given("12.0", "Cel", str(u_line)),
    )  # fmt: skip
    bars = np.linspace(7, 12, 60)
    dew = [property_of("T", "P", bar * 1e5, "Q", 1, "R410A") - 273.15 for bar in bars]
    draw = np.random.default_rng(2).normal(size=(4, 200_000))
    absolute = 8.20 + SEA_LEVEL + u_gauge * draw[0] + u_air * draw[1]
    superheat = 12.0 + u_line * draw[2] - np.interp(absolute, bars, dew) + u_table * draw[3]
    assert float(found.value) == pytest.approx(superheat.mean(), abs=0.06)
    assert float(found.uncertainty) == pytest.approx(superheat.std(), rel=0.02)
    assert [item.name for item in found.used if item.share > Decimal("0.2")] == [
        "suction_line_temperature",
        "suction_pressure",
    ]


def test_a_result_is_judged_by_the_makers_band() -> None:
    band = Band(Decimal(4), Decimal(8), "manual, page 31")
    readings = {
        "suction_pressure": given("8.20", "bar", "0.05"),
        "suction_line_temperature": given("12.0", "Cel", "0.3"),
    }
    inside = result("superheat", "R410A", **readings)
    assert judge(inside.value, band, inside.uncertainty).outcome == "within"
    warm = {**readings, "suction_line_temperature": given("19.0", "Cel", "0.3")}
    outside = result("superheat", "R410A", **warm)
    assert judge(outside.value, band, outside.uncertainty).outcome == "outside"
    assert formulas()["superheat"].band == "appliance.superheat"


def test_the_units_of_psi_and_bar_agree() -> None:
    """1 psi is 6,894.757 Pa: NIST SP 811, appendix B.9."""
    in_bar = result("evaporating-temperature", "R32", suction_pressure=given(120 * PSI, "bar"))
    in_psi = result("evaporating-temperature", "R32", suction_pressure=given(120, "[psi]"))
    assert in_bar.value == in_psi.value
