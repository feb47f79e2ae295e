"""Impossible numbers are refused in one sentence that names quantity, value and limit."""

from __future__ import annotations

import re

import pytest

from handsfree.problem import Problem
from handsfree.trades.combustion import (
    altitude,
    flue_gas,
    fuels,
    gas_rate,
    heating_value,
    losses,
    stoichiometry,
    summary,
    water,
)

METHANE, OIL = fuels.FUELS["methane"], fuels.FUELS["heating oil"]
HYDROGEN = fuels.gas("hydrogen", {"H2": 1.0})
NAN, INFINITE = float("nan"), float("inf")

REFUSED = [
    (lambda: flue_gas.air_ratio_from_oxygen(METHANE, 20.95), "O2 20.95 % cannot be: it must be below 20.946 %"),
    (lambda: flue_gas.air_ratio_from_oxygen(METHANE, -0.1), "O2 -0.1 % cannot be: it must be at least 0 %"),
    (lambda: flue_gas.air_ratio_from_oxygen(METHANE, NAN), "O2 is not a number: nan"),
    (
        lambda: flue_gas.air_ratio_from_carbon_dioxide(METHANE, 12.0),
        "CO2 12 % cannot be on methane: its ultimate CO2 is 11.74 %",
    ),
    (
        lambda: flue_gas.air_ratio_from_carbon_dioxide(METHANE, 0.03),
        "CO2 0.03 % cannot be: it must be above 0.04 %",
    ),
    (
        lambda: flue_gas.air_ratio_from_carbon_dioxide(HYDROGEN, 5.0),
        "hydrogen holds no carbon: its CO2 tells nothing; give O2",
    ),
    (lambda: flue_gas.air_free_carbon_monoxide(-1, 5), "CO -1 ppm cannot be: it must be at least 0 ppm"),
    (lambda: flue_gas.air_free_carbon_monoxide(50, 20.9), "O2 20.9 % cannot be: it must be below 20.9 %"),
    (lambda: flue_gas.carbon_monoxide_ratio(50, 0), "CO2 0 % cannot be: it must be above 0 %"),
    (lambda: stoichiometry.flue_gas(METHANE, 0.9), "air ratio 0.9 cannot be: it must be at least 1"),
    (lambda: stoichiometry.flue_gas(METHANE, INFINITE), "air ratio is not a number: inf"),
    (lambda: gas_rate.gas_rate(0.1, 0), "time 0 s cannot be: it must be above 0 s"),
    (lambda: gas_rate.gas_rate(0, 10), "volume 0 m3 cannot be: it must be above 0 m3"),
    (lambda: gas_rate.correction_factor(2, 10, 15), "barometer 10 kPa cannot be: it must be at least 30 kPa"),
    (
        lambda: gas_rate.correction_factor(2, 100, -300),
        "gas temperature -300 Cel cannot be: it must be at least -50 Cel",
    ),
    (
        lambda: gas_rate.on_basis(gas_rate.HeatInput(1, "gross"), "net", 2.0),
        "gross over net heating value 2 cannot be",
    ),
    (
        lambda: gas_rate.over_rated_percent(gas_rate.HeatInput(1, "net"), gas_rate.HeatInput(0, "net")),
        "rated input 0 kW",
    ),
    (lambda: water.saturation_pressure(300), "temperature 300 Cel cannot be: it must be at most 200 Cel"),
    (lambda: water.humidity(20, 120), "relative humidity 120 % cannot be: it must be at most 100 %"),
    (
        lambda: losses.siegert_loss(METHANE, 10, 20, 5),
        "flue temperature 10 Cel cannot be: it must be at least 20 Cel",
    ),
    (
        lambda: losses.siegert_coefficients(HYDROGEN),
        "no coefficients of the indirect method are published for hydrogen",
    ),
    (lambda: altitude.standard_pressure(9000), "altitude 9000 m cannot be: it must be at most 6000 m"),
    (lambda: heating_value.Reference(10.0), "ISO 6976 has no combustion temperature of 10 Cel"),
    (lambda: heating_value.Reference(15.0, 25.0), "ISO 6976 has no metering temperature of 25 Cel"),
    (lambda: heating_value.gas_properties(OIL), "heating oil is not a gas"),
    (lambda: fuels.fuel_named("natural gass"), "no fuel is called 'natural gass'; nearest names: natural gas"),
    (lambda: fuels.fuel_named("qqqq"), "no fuel is called 'qqqq'; nearest names: G21, G222"),
    (lambda: fuels.fuel_of_composition("CH4=89"), "the composition adds up to 89 mol %, not 100"),
    (lambda: fuels.fuel_of_composition("CH4=89,CH4=11"), "CH4 stands twice in the composition"),
    (lambda: fuels.fuel_of_composition("XX=100"), "'XX=100' is no component; write FORMULA=mol %; known: CH4"),
    (lambda: fuels.fuel_of_composition("CH4"), "'CH4' is no component"),
    (lambda: fuels.fuel_of_composition("CH4=lots"), "the share of CH4 is not a number: 'lots'"),
    (
        lambda: fuels.fuel_of_composition("CH4=120,N2=-20"),
        "share of CH4 120 mol % cannot be: it must be at most 100 mol %",
    ),
    (lambda: fuels.fuel_of_composition("CH4=nan,N2=50"), "share of CH4 is not a number: nan"),
    (lambda: fuels.fuel_of_composition("N2=60,CO2=40"), "nothing in that composition burns"),
    (lambda: METHANE.diluted_with_hydrogen(100), "hydrogen share 100 mol % cannot be: it must be below 100 mol %"),
    (
        lambda: summary.flue_lines(summary.AtTheFlue(METHANE, co=50)),
        "CO and flue temperature tell nothing without O2 or CO2",
    ),
]


@pytest.mark.parametrize(("act", "message"), REFUSED, ids=[message for _, message in REFUSED])
def test_refused_with_a_clear_sentence(act, message):
    """The problem's sentence names what is wrong; nothing is clamped and nothing is NaN."""
    with pytest.raises(Problem, match=re.escape(message)):
        act()


def test_other_names_of_a_fuel_are_understood():
    """Hyphens, capitals and the usual short names lead to the same fuel."""
    assert fuels.fuel_named("Natural-Gas") is fuels.fuel_named("NG") is fuels.FUELS["natural gas"]
    assert fuels.fuel_named("lp") is fuels.fuel_named("g31") is fuels.FUELS["propane"]


def test_a_composition_is_scaled_to_a_hundred():
    """Rounding on a gas sheet (99.8 %) is taken out; the shares keep their ratio."""
    fuel = fuels.fuel_of_composition("CH4=90.0, C2H6=9.8")
    assert sum(fuel.composition.values()) == pytest.approx(1)
    assert fuel.composition["CH4"] / fuel.composition["C2H6"] == pytest.approx(90 / 9.8)
