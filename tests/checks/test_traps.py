"""The traps of the trade, each shown to be avoided."""

from __future__ import annotations

from decimal import Decimal

import pytest

from handsfree.measurement.reading import Reading
from handsfree.measurement.settling import Sample, SettleRule, judge_settling
from handsfree.measurement.uncertainty import expanded, rectangular
from handsfree.measurement.verdict import Band, Measured, conformity_probability, judge_difference
from handsfree.problem import Problem
from handsfree.trades.combustion import gas_rate
from handsfree.trades.combustion.flue_gas import (
    air_free_carbon_monoxide,
    air_free_carbon_monoxide_from_carbon_dioxide,
    air_ratio_from_oxygen,
    carbon_monoxide_ratio,
    excess_air,
    implied_fuel,
    pair_residual,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.fuels import FUELS
from handsfree.trades.combustion.losses import efficiency, siegert_loss
from handsfree.trades.combustion.plausibility import Situation, judge_pair, log_prior
from handsfree.trades.combustion.stoichiometry import flue_gas
from handsfree.trades.combustion.stop_limits import SafetyReadings, open_stops
from handsfree.trades.combustion.summary import AtTheFlue, flue_lines

METHANE, NATURAL_GAS, PROPANE = FUELS["methane"], FUELS["natural gas"], FUELS["propane"]
D = Decimal


def rich_dry_gas(air_ratio):
    """Dry CO2 and CO in % and O2, equilibrium of methane and air frozen at 1500 K (Cantera, GRI-Mech 3.0)."""
    cantera = pytest.importorskip("cantera", reason="cantera is a test dependency")
    gas = cantera.Solution("gri30.yaml")
    gas.TPX = 1500, 101325, {"CH4": 1, "O2": 2 * air_ratio, "N2": 2 * air_ratio * 0.7905 / 0.20946}
    gas.equilibrate("TP")
    dry = 1 - gas["H2O"].X[0]
    return tuple(100 * gas[name].X[0] / dry for name in ("CO2", "CO", "O2"))


@pytest.mark.parametrize(("air_ratio", "co2", "co"), [(0.90, 9.9, 2.7), (0.873, 9.4, 3.4)])
def test_the_same_co2_occurs_rich_with_percents_of_co(air_ratio, co2, co):
    """C050, C051: CO2 in the middle of a band also occurs without enough air; only O2 and CO tell them apart."""
    rich_co2, rich_co, rich_o2 = rich_dry_gas(air_ratio)
    assert rich_co2 == pytest.approx(co2, abs=0.3)
    assert rich_co == pytest.approx(co, abs=0.3)
    assert rich_o2 < 0.01
    stops = open_stops(SafetyReadings(co=D(round(rich_co * 1e4)), o2=D("0.0"), co2=D("9.4")), METHANE)
    assert {"air-free-co", "co-ratio", "flue-o2"} <= {stop.name for stop in stops}


def test_co2_alone_is_told_as_the_lean_side_only():
    """A summary from CO2 alone says that it takes the lean side for granted."""
    line = next(line for line in flue_lines(AtTheFlue(METHANE, co2=9.4)) if line.key == "air_ratio")
    assert "no pass without O2 and CO" in line.formula


@pytest.mark.parametrize(("o2", "wrong_by"), [(3, 1.8), (5, 3.4), (9, 8.2)])
def test_the_shortcut_for_excess_air_is_not_used(o2, wrong_by):
    """C041 to C043: 20.9/(20.9 - O2) is too high by up to eight points for a gas."""
    shortcut = 100 * (20.9 / (20.9 - o2) - 1)
    assert shortcut - excess_air(air_ratio_from_oxygen(METHANE, o2)) == pytest.approx(wrong_by, abs=0.1)


def test_a_diluted_sample_passes_the_cross_check_unseen():
    """C049: air drawn into the sample moves CO2 and O2 along one line; the CO/CO2 ratio does not move."""
    co2, o2 = 0.90 * 9.40 + 0.10 * 0.04, 0.90 * 4.19 + 0.10 * 20.946
    assert implied_fuel(co2, o2).ultimate == pytest.approx(implied_fuel(9.40, 4.19).ultimate, abs=1e-6)
    assert abs(pair_residual(METHANE, co2, o2)) < 0.02
    assert carbon_monoxide_ratio(90, co2) == pytest.approx(carbon_monoxide_ratio(100, 9.40), rel=0.001)


def test_a_computing_analyser_gets_a_tolerance_four_times_tighter():
    """C179, C180: ±0.34 and more when CO2 is measured, ±0.08 when it is computed from O2."""
    co2, o2 = Reading.written("co2", "9.6", "%"), Reading.written("o2", "4.3", "%")
    measured = judge_pair(Situation(METHANE, co2_computed=False), co2, o2)
    computed = judge_pair(Situation(METHANE, co2_computed=True, analyser_ultimate=D("11.74")), co2, o2)
    assert float(measured.limit) == pytest.approx(0.34, abs=0.02)
    assert float(computed.limit) == pytest.approx(0.08, abs=0.01)
    assert measured.consistent
    assert not computed.consistent


def test_two_rates_of_one_instrument_have_correlated_errors_and_the_verdict_says_so():
    """C153, C154: taken as independent, 0.25 against ±0.2 would be 39 % likely; it is 23 %."""
    first, second = Measured(D("9.40"), 0.15, 0.0), Measured(D("9.15"), 0.15, 0.0)
    verdict = judge_difference(first, second, Band(D("-0.2"), D("0.2"), "invented sheet"))
    assert verdict.probability == D("0.228")
    assert "errors of one instrument correlated 0.9" in verdict.rule


def test_air_free_and_ratio_limits_are_not_interchangeable():
    """C057: a ratio of 0.004 is 470 ppm air-free on natural gas, over the 400 ppm limit."""
    free = air_free_carbon_monoxide_from_carbon_dioxide(METHANE, 360, 9)
    assert carbon_monoxide_ratio(360, 9) == pytest.approx(0.004)
    assert free > 400
    stops = open_stops(SafetyReadings(co=D(360), co2=D("9.0")), METHANE)
    assert [stop.name for stop in stops] == ["air-free-co"]


def test_the_indirect_loss_is_refused_under_the_dew_point():
    """C113: at 40 Cel it would claim 99 % net where the balance says 105 %."""
    with pytest.raises(Problem, match="under the dew point"):
        siegert_loss(METHANE, 40, 20, 5)
    gas = flue_gas(METHANE, air_ratio_from_oxygen(METHANE, 5))
    assert efficiency(METHANE, gas, 40, 20).net_percent == pytest.approx(105.07, abs=0.02)
    line = next(
        line for line in flue_lines(AtTheFlue(METHANE, o2=5, flue_temperature=40)) if line.key == "siegert_loss"
    )
    assert line.value == "none"


def test_gross_and_net_inputs_are_not_compared():
    """C125: 27.94 kW gross against 24.0 kW net would look 16 % over; on one basis it is 4.9 %."""
    measured, rated = gas_rate.HeatInput(27.94, "gross"), gas_rate.HeatInput(24.0, "net")
    with pytest.raises(Problem, match="gross input cannot be compared with a net rating"):
        gas_rate.over_rated_percent(measured, rated)
    assert gas_rate.over_rated_percent(gas_rate.on_basis(measured, "net", 1.11), rated) == pytest.approx(
        4.9, abs=0.1
    )


def test_equal_readings_at_coarse_resolution_are_not_certainty():
    """C169: a row of equal readings still allows a drift of one display step over the time watched."""
    rule = SettleRule(D("0.1"), D("0.1"), minimum_wait=90)
    answer = judge_settling([Sample(90 + 10 * k, D("9.4")) for k in range(10)], rule)
    assert answer.slope_half_width > D("0.04")
    assert answer.standard_uncertainty > 0.015
    coarse = SettleRule(D("0.1"), D("0.5"), minimum_wait=90)
    assert not judge_settling([Sample(90 + 30 * k, D("9.5")) for k in range(3)], coarse).settled


def test_a_short_row_of_equal_readings_passes_neither_wait_nor_window():
    """C170: the last four of an approach range over one step only; wait and window refuse them."""
    rule = SettleRule(D("0.1"), D("0.1"), minimum_wait=90)
    early = [Sample(60 + 10 * k, value) for k, value in enumerate((D("9.3"), D("9.4"), D("9.4"), D("9.4")))]
    assert not judge_settling(early, rule).settled
    short = [Sample(90 + 10 * k, value) for k, value in enumerate((D("9.4"), D("9.4"), D("9.4"), D("9.4")))]
    assert "span" in judge_settling(short, rule).reason


def test_fractions_do_not_change_with_altitude():
    """C136: CO2, O2 and air-free CO are volume fractions; pressure enters only dew point and efficiency."""
    for pressure in (101.325, 83.4):
        lines = {line.key: line.value for line in flue_lines(AtTheFlue(METHANE, o2=5, co=50, pressure=pressure))}
        assert (lines["co2"], lines["co_air_free"]) == ("8.95", "66")


def test_the_ratio_uses_parts_in_a_million_over_percent():
    """A published excerpt shows the exponents the other way round: a factor of 10^12."""
    assert carbon_monoxide_ratio(40, 8) == pytest.approx(40e-6 / 8e-2)


def test_published_ultimate_co2_of_regulations_is_not_used():
    """C028, C029: the regulation's factors give 13.66 for propane and 14.35 for butane; atoms 13.76 and 14.06."""
    assert ultimate_carbon_dioxide(PROPANE) - 13.66 == pytest.approx(0.10, abs=0.01)
    assert ultimate_carbon_dioxide(FUELS["butane"]) - 14.35 == pytest.approx(-0.29, abs=0.01)


def test_one_gross_to_net_ratio_is_not_used_for_all_fuels():
    """1.1 for everything is 0.9 % off on natural gas and 1.3 % the other way on propane."""
    for fuel, error in ((METHANE, -0.9), (PROPANE, 1.3)):
        read = {line.key: float(line.value) for line in flue_lines(AtTheFlue(fuel))}
        ratio = read["gross_heating_value"] / read["net_heating_value"]
        assert 100 * (1.1 / ratio - 1) == pytest.approx(error, abs=0.15)


def test_air_free_co_is_never_less_than_as_measured():
    """Whatever O2 says, air-free CO is at least the CO as measured."""
    assert all(air_free_carbon_monoxide(100, o2 / 10) >= 100 for o2 in range(209))


def test_the_pair_of_another_fuel_is_named():
    """C176: a propane pair on a natural gas job says so."""
    judgement = judge_pair(
        Situation(NATURAL_GAS, co2_computed=True, analyser_ultimate=D("11.8")),
        Reading.written("co2", "10.4", "%"),
        Reading.written("o2", "5.1", "%"),
    )
    assert judgement.fits == ("propane",)
    assert judgement.sentence.endswith("that pair fits propane")


def test_fifteen_and_fifty_ppm_are_not_told_apart_by_physics():
    """C181: nothing in CO2 and O2 can choose between 15 and 50 ppm, so neither gets a higher prior."""
    situation = Situation(NATURAL_GAS, co2_computed=False, this_set={"co2": Reading.written("co2", "9.4", "%")})
    fifteen, fifty = (Reading.written("co", text, "[ppm]") for text in ("15", "50"))
    assert log_prior(situation, fifteen) == log_prior(situation, fifty)


def test_three_legitimate_models_give_three_probabilities():
    """C145 to C147: normal with U = 0.3, normal of ±0.3 limits, exact rectangular: 0.631, 0.614, 0.583."""
    band = Band(D("8.9"), D("9.9"), "the list of check values")
    assert conformity_probability(9.85, band, expanded(0.3)) == pytest.approx(0.6306, abs=0.0005)
    assert conformity_probability(9.85, band, rectangular(0.3)) == pytest.approx(0.6136, abs=0.0005)
    exact_rectangular = (9.9 - (9.85 - 0.3)) / 0.6
    assert exact_rectangular == pytest.approx(0.5833, abs=0.0005)
