"""The physics check digit: what it catches, what it leaves alone, and what it must never decide."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.measurement.check_digit import Disagreement, Expectation, joined, learned, log_density, peak
from handsfree.measurement.reading import Reading
from handsfree.measurement.verdict import Band
from handsfree.trades.combustion.fuels import FUELS
from handsfree.trades.combustion.plausibility import Situation, judge_pair, log_prior, opens_stop

D = Decimal
GAS = FUELS["natural gas"]
BAND = Band(D("9.0"), D("9.7"), "invented sheet")
MEASURED = Situation(GAS, co2_computed=False, co2_band=BAND)
COMPUTED = Situation(GAS, co2_computed=True, analyser_ultimate=D("11.8"), co2_band=BAND)


def co2(text):
    return Reading.written("co2", text, "%")


def o2(text):
    return Reading.written("o2", text, "%")


def co(text):
    return Reading.written("co", text, "[ppm]")


@pytest.mark.parametrize(
    ("carbon", "oxygen", "consistent"),
    [
        ("9.4", "4.3", True),  # C171
        ("9.9", "4.3", False),  # C172: "nine nine" for "nine four"
        ("8.9", "4.0", False),  # C173
        ("9.5", "5.9", False),  # C174: "five nine" for "four nine"
        ("10.4", "5.1", False),  # C176: a propane pair
        ("9.4", "5.6", False),  # C177: "five six" for "four six"
        ("8.9", "5.1", True),  # C178
    ],
)
@pytest.mark.parametrize("situation", [MEASURED, COMPUTED], ids=["measured", "computed"])
def test_the_pairs_of_the_list_are_told_apart(situation, carbon, oxygen, consistent):
    """C171 to C178 come out as the list flags them, for both kinds of analyser."""
    assert judge_pair(situation, co2(carbon), o2(oxygen)).consistent is consistent


def test_the_visit_learns_its_analyser():
    """After an accepted pair the lasting part is known, so the same small slip is caught the second time."""
    slip = (co2("9.1"), o2("4.4"))
    assert judge_pair(MEASURED, *slip).consistent
    after = replace(MEASURED, pairs=((D("9.4"), D("4.4")), (D("9.0"), D("5.1"))))
    assert not judge_pair(after, *slip).consistent
    assert judge_pair(after, co2("9.2"), o2("4.8")).consistent


def test_more_oxygen_than_air_holds_is_told_so():
    """21.0 % O2 is no flue gas reading; nor is one below nought."""
    assert judge_pair(MEASURED, co2("0.1"), o2("21.0")).sentence == "O2 21.0 is more than air holds"
    assert judge_pair(MEASURED, co2("9.4"), Reading.written("o2", "-0.2", "%")).sentence == "O2 -0.2 is below zero"


def test_a_value_that_fits_its_pair_is_the_likeliest():
    """Beside a CO2 of 9.4, "four two" is likelier than "nine four" or "five four", which do not fit it."""
    situation = replace(COMPUTED, this_set={"co2": co2("9.4")})
    assert max(("9.4", "4.2", "5.4"), key=lambda text: log_prior(situation, o2(text))) == "4.2"
    told = judge_pair(situation, co2("9.4"), o2("9.4")).sentence
    assert told.startswith("CO2 9.4 with O2 9.4 does not fit natural gas: CO2 near 6.6 would")


@given(st.integers(0, 3000), st.integers(0, 3000))
def test_no_co_is_ever_likelier_than_another(one, other):
    """The prior says nothing about CO, whatever the rest of the set holds."""
    situation = replace(MEASURED, this_set={"co2": co2("9.4"), "o2": o2("4.3")}, previous_set={"co": co("18")})
    assert log_prior(situation, co(str(one))) == log_prior(situation, co(str(other))) == 0


@given(st.decimals(0, 20, places=1), st.decimals(0, 20, places=1))
def test_a_value_beyond_a_stop_limit_is_never_made_less_likely(carbon, oxygen):
    """An O2 under 2 % has the highest prior of all, even where the CO2 makes it absurd."""
    situation = replace(MEASURED, this_set={"co2": Reading("co2", carbon, "%", D("0.1"))})
    candidate = Reading("o2", oxygen, "%", D("0.1"))
    if not opens_stop(situation, candidate):
        return
    others = [log_prior(situation, o2(f"{tenth / 10:.1f}")) for tenth in range(0, 209, 3)]
    assert log_prior(situation, candidate) >= max(others) - D("0.001")


def test_an_o2_that_makes_the_co_a_stop_is_kept():
    """With 300 ppm read, an O2 of 8 would mean more than 400 air-free: not argued away by the CO2."""
    situation = replace(MEASURED, this_set={"co2": co2("9.4"), "co": co("300")})
    assert opens_stop(situation, o2("8.0"))
    assert not opens_stop(situation, o2("4.3"))
    assert log_prior(situation, o2("8.0")) >= log_prior(situation, o2("4.3"))


def test_the_last_set_and_the_band_bear_on_the_first_number():
    """Before anything else of the set: near the last set's value is likelier, else near the maker's band."""
    repeated = replace(MEASURED, previous_set={"co2": co2("8.1")})
    assert log_prior(repeated, co2("8.1")) > log_prior(repeated, co2("9.4"))
    assert log_prior(MEASURED, co2("9.4")) > log_prior(MEASURED, co2("5.1"))
    assert log_prior(MEASURED, o2("4.4")) > log_prior(MEASURED, o2("12.0"))


def test_meter_time_is_expected_from_the_rated_input():
    """Thirty-six seconds expected: 38 is likelier than 83."""
    situation = replace(MEASURED, expected_seconds=D(36))
    near, far = (Reading.written("meter_time", text, "s") for text in ("38", "83"))
    assert log_prior(situation, near) > log_prior(situation, far)


def test_a_quantity_without_physics_is_not_weighed():
    """Serials, volumes and the like have no prior."""
    assert log_prior(MEASURED, Reading.written("fan_speed", "4200", "/min")) == 0


def test_surprise_keeps_every_value_possible():
    """Far from its expectation a value has the floor of surprise, never nothing."""
    expectation = Expectation(9.4, 0.1)
    assert log_density(2.0, expectation, 25) > -7
    assert log_density(9.4, expectation, 25) == pytest.approx(peak(expectation, 25))
    assert log_density(3.0, None, 25) == log_density(24.0, None, 25)


def test_expectations_join_by_precision():
    """Two alike halve the variance; the surer one pulls more; none gives none."""
    assert joined([]) is None
    both = joined([Expectation(9.0, 0.1), Expectation(9.2, 0.1)])
    assert (both.centre, both.deviation) == (pytest.approx(9.1), pytest.approx(0.1 / 2**0.5))
    assert joined([Expectation(9.0, 0.01), Expectation(10.0, 1.0)]).centre == pytest.approx(9.0, abs=0.001)


def test_a_lasting_disagreement_is_learned():
    """What stays the same is learned as 1/n of the passing noise; without a lasting part nothing is."""
    assert learned([], 0.2, 0.03).deviation == pytest.approx((0.04 + 0.0009) ** 0.5)
    many = learned([0.3] * 50, 0.2, 0.03)
    assert many.mean == pytest.approx(0.3, abs=0.001)
    assert many.deviation == pytest.approx(0.03, rel=0.02)
    assert learned([0.3] * 50, 0.0, 0.03) == Disagreement(0.0, 0.03)
