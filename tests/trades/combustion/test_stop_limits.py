"""Stop limits open on the plain reading, the gravest first, and can only be made stricter."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.problem import Problem
from handsfree.trades.combustion.fuels import FUELS
from handsfree.trades.combustion.stop_limits import DEFAULTS, SafetyReadings, StopLimits, air_free, open_stops

GAS = FUELS["natural gas"]
D = Decimal


def names(limits=None, **readings):
    return [stop.name for stop in open_stops(SafetyReadings(**readings), GAS, limits)]


def test_nothing_read_opens_nothing():
    """Without readings there is no stop, and without a maker's limit none is invented."""
    assert names() == []
    assert "maker-co" in StopLimits().missing()
    assert names(flue_temperature=D(300), standing_pressure=D(60)) == []


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        ({"ambient_co": D(9)}, []),
        ({"ambient_co": D(10)}, ["ambient-co-search"]),
        ({"ambient_co": D(35)}, ["ambient-co-search"]),
        ({"ambient_co": D(36)}, ["ambient-co"]),
        ({"ambient_co": D(99)}, ["ambient-co"]),
        ({"ambient_co": D(100)}, ["ambient-co-evacuate"]),
        ({"ambient_co_over_range": True}, ["ambient-co-over-range"]),
        ({"co": D(300), "o2": D("4.5")}, []),
        ({"co": D(320), "o2": D("4.5")}, ["air-free-co"]),
        ({"co": D(401)}, ["air-free-co"]),
        ({"co": D(400), "o2": D("0")}, ["flue-o2"]),
        ({"co": D(760), "co2": D("9.4")}, ["air-free-co", "co-ratio"]),
        ({"co": D(99), "co_rising": True}, []),
        ({"co": D(100), "co_rising": True}, ["rising-co"]),
        ({"co": D(60), "co_rising": True, "co2": D("10.2"), "highest_co2": D("9.7")}, ["rich-mixture"]),
        ({"co_over_range": True}, ["co-over-range"]),
        ({"o2": D("1.9")}, ["flue-o2"]),
        ({"air_duct_o2": D("20.5")}, ["air-duct-o2"]),
        ({"air_duct_o2": D("20.6")}, []),
        ({"air_duct_co2": D("0.3")}, ["air-duct-co2"]),
    ],
)
def test_each_limit_at_its_edge(readings, expected):
    """SAFETY A: every limit opens just beyond its value and not on the allowed side of it."""
    assert names(**readings) == expected


def test_the_gravest_stop_comes_first():
    """Evacuation goes before the burner, and the room is told once."""
    assert names(ambient_co=D(120), co=D(900)) == ["ambient-co-evacuate", "air-free-co"]


@pytest.mark.parametrize("name", sorted(DEFAULTS))
def test_a_limit_may_be_tightened_and_never_loosened(name):
    """Job sheet, procedure and local code can only move a limit to the strict side."""
    limit = DEFAULTS[name]
    stricter = limit.value * (2 if limit.stops == "below" else D("0.5"))
    looser = limit.value * (D("0.5") if limit.stops == "below" else 2)
    limits = StopLimits().tightened(name, stricter, "local code, page 3")
    assert limits.limits[name].source == "local code, page 3"
    with pytest.raises(Problem, match=f"{name} may only be tightened"):
        limits.tightened(name, limit.value, "back again")
    with pytest.raises(Problem, match="may only be tightened"):
        StopLimits().tightened(name, looser, "a wish")
    with pytest.raises(Problem, match="is not a number"):
        StopLimits().tightened(name, D("NaN"), "a wish")


def test_an_unknown_limit_is_named_with_the_known_ones():
    """A misspelt limit is an error, not a limit that never opens."""
    with pytest.raises(Problem, match="no stop limit 'airfree-co'; known: ambient-co-evacuate"):
        StopLimits().tightened("airfree-co", D(1), "sheet")


def test_the_makers_limits_act_once_loaded():
    """Flue temperature and gas pressure stop on the maker's values, both sides, standing and working."""
    limits = StopLimits()
    for name, value in (
        ("flue-temperature", 90), ("lowest-working-pressure", 17), ("highest-standing-pressure", 30),
    ):  # fmt: skip
        limits = limits.tightened(name, D(value), "manual, page 14")
    assert names(limits, flue_temperature=D(91)) == ["flue-temperature"]
    assert names(limits, working_pressure=D("16.9")) == ["lowest-working-pressure"]
    assert names(limits, standing_pressure=D(31), working_pressure=D(20)) == ["highest-standing-pressure"]
    assert "flue-temperature" not in limits.missing()
    with pytest.raises(Problem, match="may only be tightened"):
        limits.tightened("flue-temperature", D(120), "a wish")


def test_co_over_the_makers_limit_is_a_verdict_while_adjusting_and_a_stop_after():
    """SAFETY A7: adjust only as the maker says; when nothing may be adjusted any more it is a stop."""
    limits = StopLimits().tightened("maker-air-free-co", D(200), "manual, page 15")
    reading = {"co": D(180), "o2": D("3.6"), "highest_co2": D("9.7")}
    assert names(limits, **reading, may_still_adjust=True) == []
    assert names(limits, **reading) == ["maker-air-free-co"]


def test_high_co_with_o2_at_or_above_the_band_is_never_leaned():
    """A lifting flame makes CO too: with O2 already in or over its band the burner goes off."""
    limits = StopLimits().tightened("maker-co-ratio", D("0.004"), "UK industry body")
    lean = {"co": D(370), "o2": D("5.0"), "co2": D("9.0"), "highest_co2": D("9.7"), "may_still_adjust": True}
    assert "maker-co-ratio" in names(limits, **lean)
    assert "maker-co-ratio" not in names(limits, **{**lean, "o2": D("3.0"), "co2": D("10.2")})


@given(st.decimals(0, 3000, places=0), st.decimals(0, 25, places=1), st.decimals(0, 25, places=1))
def test_air_free_is_defined_for_every_reading(co, o2, co2):
    """Plain air, impossible CO2 and everything between give a number at least as high as measured."""
    for known in ({"o2": o2}, {"co2": co2}, {"o2": o2, "co2": co2}, {}):
        value = air_free(SafetyReadings(co=co, **known), GAS)
        assert value is not None
        assert value >= co


@given(st.decimals(401, 9999, places=0), st.decimals(0, 30, places=1), st.decimals(0, 30, places=1))
def test_over_400_as_measured_always_stops(co, o2, co2):
    """No O2 or CO2, true or misheard, can talk a CO over 400 ppm away."""
    assert "air-free-co" in names(co=co, o2=o2, co2=co2)


def test_a_reading_that_is_no_number_is_refused():
    """NaN never slips past a limit."""
    with pytest.raises(Problem, match="co is not a number"):
        SafetyReadings(co=D("NaN"))


def test_every_default_names_its_source():
    """Each limit says where it comes from."""
    for limit in DEFAULTS.values():
        assert limit.source
