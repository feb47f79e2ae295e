"""Stop limits open on the plain reading, the gravest first, and can only be made stricter."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.problem import Problem
from handsfree.trades.combustion.flue_gas import oxygen_from_carbon_dioxide, ultimate_carbon_dioxide
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


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        ({"o2": D("2.0")}, []),
        ({"air_duct_co2": D("0.2")}, []),
        ({"ambient_co": D(0)}, []),
        ({"co": D(0), "co2": D("9.4"), "o2": D("4.4")}, []),
        ({"co": D(400)}, []),
        ({"co": D(75), "co2": D("9.375")}, []),  # CO/CO2 0.0008
        (
            {"co": D(100), "co2": D("1.25")},
            ["air-free-co"],
        ),  # 0.008 is not above 0.008; air-free 100 * 11.88 / 1.25
        ({"co": D(100), "co2": D("1.24")}, ["air-free-co", "co-ratio"]),
        ({"co": D(100), "co2": D("1.0")}, ["air-free-co", "co-ratio"]),
        ({"co": D(100), "co2": D(0)}, []),
        ({"co": D(-1), "co2": D("9.4"), "co_rising": True}, []),
        ({"co": D(60), "co_rising": True, "co2": D("9.7"), "highest_co2": D("9.7")}, []),
        ({"co": D(60), "co_rising": True, "co2": D("10.2")}, []),
        ({"co": D(60), "co_rising": True, "highest_co2": D("9.7")}, []),
        ({"co": D(60), "co2": D("10.2"), "highest_co2": D("9.7")}, []),
        ({"ambient_co": D(50), "ambient_co_over_range": True}, ["ambient-co-over-range"]),
        ({"co_over_range": True, "ambient_co": D(12)}, ["co-over-range", "ambient-co-search"]),
    ],
)
def test_at_a_limit_and_without_what_it_needs_nothing_opens(readings, expected):
    """On the allowed side to the digit; a ratio needs CO2, a rich mixture needs a rise and a band."""
    assert names(**readings) == expected


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        ({"co": D(100), "o2": D(0)}, "100.0"),
        ({"co": D(100), "o2": D("3.0")}, "116.8"),  # 100 * 20.9 / 17.9
        ({"co": D(100), "o2": D("20.8")}, "20900.0"),  # 100 * 20.9 / 0.1
        ({"co": D(100), "o2": D("20.9")}, "100.0"),
        ({"co": D(100), "o2": D("21.0"), "co2": D("5.0")}, "237.6"),  # by CO2: 100 * 11.88 / 5.0
        ({"co": D(100), "o2": D("3.0"), "co2": D("5.0")}, "116.8"),
        ({"co": D(100), "o2": D(0), "co2": D("5.0")}, "100.0"),
        ({"co": D(1), "o2": D("3.0")}, "1.2"),
        ({"co": D(100), "o2": D("-0.5")}, "100.0"),
        ({"co": D(10), "co2": D("0.5")}, "237.6"),
        ({"co": D(100), "co2": D("0.1")}, "100.0"),
        ({"co": D(100), "co2": D("12.5")}, "100.0"),
        ({"co": D(100)}, "100.0"),
        ({"co": D(0), "o2": D("3.0")}, "0"),
        ({"co": D(-2), "o2": D("3.0")}, "-2"),
        ({"o2": D("3.0")}, None),
    ],
)
def test_co_air_free_by_hand(readings, expected):
    """CO * 20.9 / (20.9 - O2), the trade's formula; else CO * CO2max / CO2 with 11.88 %; else as measured."""
    value = air_free(SafetyReadings(**readings), GAS)
    assert (None if value is None else str(value)) == expected


def test_a_limit_may_be_confirmed_at_its_own_value():
    """The same value is not looser; its source is then the newer one."""
    for name, limit in DEFAULTS.items():
        assert StopLimits().tightened(name, limit.value, "local code").limits[name].source == "local code"


def test_a_limit_of_the_model_has_its_unit_and_side():
    """High ones stop above, low ones below; all put the burner off; what is no number is refused."""
    units = {
        "maker-co": "[ppm]",
        "maker-co-ratio": "1",
        "flue-temperature": "Cel",
        "lowest-standing-pressure": "mbar",
    }
    for name in StopLimits().missing():
        limit = StopLimits().tightened(name, D(20), "manual").limits[name]
        assert limit.stops == ("below" if name.startswith("lowest") else "above")
        assert limit.unit == units.get(name, limit.unit)
        assert (limit.severity, limit.value, limit.source) == ("off", D(20), "manual")
        assert limit.passed_by(D(19)) == name.startswith("lowest")
        assert not limit.passed_by(D(20))
        with pytest.raises(Problem, match=f"the limit {name} is not a number: NaN"):
            StopLimits().tightened(name, D("NaN"), "manual")


def test_the_ratio_is_taken_of_the_least_co():
    """Half a ppm at CO2 1 % is 0.00005."""
    limits = StopLimits().tightened("co-ratio", D("0.00004"), "a wish")
    assert names(limits, co=D("0.5"), co2=D("1.0")) == ["co-ratio"]


def test_other_limits_stay_when_one_is_tightened():
    """Tightening changes one limit and leaves the earlier set of limits as it was."""
    before = StopLimits()
    after = before.tightened("air-free-co", D(200), "local code")
    assert before.limits == dict(DEFAULTS)
    assert {n: x for n, x in after.limits.items() if n != "air-free-co"} == {
        n: x for n, x in DEFAULTS.items() if n != "air-free-co"
    }


def test_a_stop_names_its_value_its_limit_and_its_source():
    """What is read out and recorded."""
    (stop,) = open_stops(SafetyReadings(o2=D("1.9")), GAS)
    assert (stop.severity, stop.value, stop.limit) == ("off", "1.9 %", "below 2 %")
    assert stop.source == DEFAULTS["flue-o2"].source


@pytest.mark.parametrize(
    ("o2", "top", "lean"),
    [
        ("4.4", "9.7", True),
        ("3.8", "9.7", False),
        ("4.4", None, False),
        (None, "9.7", False),
        ("20.9", "0.1", False),
        ("20.0", "1.0", True),
        ("4.4", "12.5", False),
    ],
)
def test_how_lean_is_lean_enough(o2, top, lean):
    """CO2 9.7 % belongs to O2 20.95 * (1 - 9.7 / 11.88) = 3.84 %: from there CO is no sign of too little air."""
    limits = StopLimits().tightened("maker-co", D(100), "manual")
    known = {"o2": None if o2 is None else D(o2), "highest_co2": None if top is None else D(top)}
    found = names(limits, co=D(150), may_still_adjust=True, **known)
    assert ("maker-co" in found) == lean


def test_a_band_up_to_all_the_co2_of_the_fuel_asks_for_no_o2():
    """At the ultimate CO2 no oxygen is left, so any is enough."""
    limits = StopLimits().tightened("maker-co", D(100), "manual")
    top = D(repr(ultimate_carbon_dioxide(GAS)))
    assert "maker-co" in names(limits, co=D(150), o2=D("2.0"), highest_co2=top, may_still_adjust=True)


def test_o2_that_just_belongs_to_the_top_of_the_band_is_lean_enough():
    """The O2 that belongs to the top, to two digits: at it and above it, not below it."""
    limits = StopLimits().tightened("maker-co", D(100), "manual")
    edge = D(f"{oxygen_from_carbon_dioxide(GAS, 9.7):.2f}")
    for o2, lean in ((edge, True), (edge - D("0.01"), False)):
        found = names(limits, co=D(150), o2=o2, highest_co2=D("9.7"), may_still_adjust=True)
        assert ("maker-co" in found) == lean


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
