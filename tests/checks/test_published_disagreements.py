"""Where published values and first principles disagree: ours is the better one, and the difference is stated."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from handsfree.trades.combustion.flue_gas import (
    air_ratio_from_oxygen,
    carbon_dioxide_from_oxygen,
    excess_air,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.fuels import FUELS
from handsfree.trades.combustion.heating_value import NORMAL, Reference, gas_properties
from handsfree.trades.combustion.losses import efficiency, siegert_loss
from handsfree.trades.combustion.stoichiometry import flue_gas, stoichiometry
from handsfree.trades.combustion.water import dew_point

METHANE, NATURAL_GAS, PROPANE = FUELS["methane"], FUELS["natural gas"], FUELS["propane"]


def loss_by_enthalpy(fuel, flue):
    """Percent of the net input, air 20 Cel, O2 5 %."""
    return 100 - efficiency(fuel, flue_gas(fuel, air_ratio_from_oxygen(fuel, 5)), flue, 20).net_percent


@pytest.mark.parametrize(
    ("fuel", "flue", "percent"),
    [
        (NATURAL_GAS, 60, 1.5), (NATURAL_GAS, 120, 0.0), (NATURAL_GAS, 180, -0.8), (NATURAL_GAS, 250, -1.7),
        (PROPANE, 60, -1.7), (PROPANE, 120, -3.1), (PROPANE, 180, -3.9),
    ],
)  # fmt: skip
def test_the_indirect_method_against_the_enthalpy_balance(fuel, flue, percent):
    """The indirect loss takes one heat capacity for all temperatures and one gas for all of a family.

    So it is 1.5 % of itself high on cool and 2 % low on hot natural gas flues, where the real heat capacity has
    risen; for LPG its A2 of 0.63 is too small for the ultimate CO2 of propane (A1·21/CO2max = 0.64) and it is
    low everywhere, by up to 0.3 points of loss.
    """
    balance = loss_by_enthalpy(fuel, flue)
    assert 100 * (siegert_loss(fuel, flue, 20, 5) / balance - 1) == pytest.approx(percent, abs=0.4)


@dataclass(frozen=True)
class Case:
    what: str
    ours: float
    published: float
    difference: float
    """Ours less published."""
    tolerance: float


def _asme_with(constant):
    nitrogen = 100 - 5 - carbon_dioxide_from_oxygen(METHANE, 5)
    return 100 * 5 / (constant * nitrogen - 5)


def _all_condensate_us_gallons(fuel):
    """US gallons of all water formed, per 100 000 Btu gross."""
    kilograms = stoichiometry(fuel).water * 18.01528e-3 / gas_properties(fuel, NORMAL).gross_molar
    return kilograms * 105505.585262 / 3.785411784


def _water_of_methane_at(oxygen):
    return flue_gas(METHANE, air_ratio_from_oxygen(METHANE, oxygen)).water


EXACT = excess_air(air_ratio_from_oxygen(METHANE, 5))
CASES = [
    Case("excess air at O2 5 % by a web formula's 0.2682·N2", EXACT, _asme_with(0.2682), 0.4, 0.05),
    Case("methane 25/0 net, DIN 51857 from memory", gas_properties(METHANE, NORMAL).net, 35.88, 0.012, 0.002),
    Case(
        "methane 25/0 gross, real against ideal",
        gas_properties(METHANE, NORMAL).gross,
        gas_properties(METHANE, Reference(25.0, 0.0, real=False)).gross,
        0.095,
        0.001,
    ),
    Case("G21 gross, EN 437 from memory", gas_properties(FUELS["G21"]).gross, 45.28, -0.12, 0.01),
    Case("G30 gross, EN 437 from memory", gas_properties(FUELS["G30"]).gross, 125.81, -0.23, 0.01),
    Case(
        "gross over net of natural gas, trade text 1.1",
        gas_properties(METHANE, NORMAL).gross_to_net,
        1.1,
        0.0097,
        0.0003,
    ),
    Case(
        "gross over net of propane, trade text 1.1",
        gas_properties(PROPANE, NORMAL).gross_to_net,
        1.1,
        -0.0138,
        0.0003,
    ),
    Case("ultimate CO2 of propane, 40 CFR 75", ultimate_carbon_dioxide(PROPANE), 100 * 1190 / 8710, 0.10, 0.01),
    Case(
        "ultimate CO2 of butane, 40 CFR 75",
        ultimate_carbon_dioxide(FUELS["butane"]),
        100 * 1250 / 8710,
        -0.29,
        0.01,
    ),
    Case(
        "US gallons of condensate per 100 000 Btu, trade text 1",
        _all_condensate_us_gallons(METHANE),
        1.0,
        0.127,
        0.003,
    ),
    Case(
        "water of methane at O2 4 %, white paper's 18.6 as a fraction",
        100 * _water_of_methane_at(4),
        18.6,
        -2.6,
        0.3,
    ),
    Case(
        "dew point of that paper, its 18.6 to dry gas or taken literally",
        dew_point(101.325 * 0.1568),
        58.8,
        -3.6,
        0.1,
    ),
    Case("O2 of a table at 1.1, said to be wet", 100 * flue_gas(METHANE, 1.1).wet_oxygen, 2.10, -0.36, 0.02),
    Case("CO2 of methane at O2 4 %, white paper 9.15", carbon_dioxide_from_oxygen(METHANE, 4), 9.15, 0.36, 0.01),
]


@pytest.mark.parametrize("case", CASES, ids=[case.what for case in CASES])
def test_ours_differs_from_the_published_value_by_what_the_list_says(case):
    """The sign and the size of each disagreement are known, so that a change of method would show."""
    assert case.ours - case.published == pytest.approx(case.difference, abs=case.tolerance)
