"""Properties that hold for every fuel and every mixture: round trips, directions, limits."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.trades.combustion.flue_gas import (
    air_free_carbon_monoxide,
    air_free_carbon_monoxide_from_carbon_dioxide,
    air_ratio_from_carbon_dioxide,
    air_ratio_from_oxygen,
    carbon_dioxide_from_oxygen,
    implied_fuel,
    oxygen_from_carbon_dioxide,
    pair_residual,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.fuels import FUELS, gas
from handsfree.trades.combustion.gas_rate import HeatInput, on_basis
from handsfree.trades.combustion.heating_value import gas_properties
from handsfree.trades.combustion.losses import efficiency
from handsfree.trades.combustion.stoichiometry import flue_gas
from handsfree.trades.combustion.water import dew_point, saturation_pressure

GASES = [fuel for fuel in FUELS.values() if fuel.gaseous]
fuels = st.sampled_from(list(FUELS.values()))
gases = st.sampled_from(GASES)
mixes = st.lists(st.floats(0.01, 1.0), min_size=6, max_size=6).map(
    lambda shares: gas(
        "drawn",
        {
            formula: share / sum(shares)
            for formula, share in zip(("CH4", "C2H6", "C3H8", "H2", "N2", "CO2"), shares, strict=True)
        },
    )
)
ratios = st.floats(1.0, 10.0)


@given(fuels | mixes, ratios)
def test_o2_and_co2_both_lead_back_to_the_air_ratio(fuel, ratio):
    """From a mixture to its O2 or CO2 and back gives the same air ratio."""
    mixture = flue_gas(fuel, ratio)
    assert air_ratio_from_oxygen(fuel, 100 * mixture.oxygen) == pytest.approx(ratio, rel=1e-9)
    co2 = min(100 * mixture.carbon_dioxide, ultimate_carbon_dioxide(fuel))
    assert air_ratio_from_carbon_dioxide(fuel, co2) == pytest.approx(ratio, rel=1e-6)


@given(fuels | mixes, st.floats(0.0, 20.0))
def test_o2_to_co2_and_back(fuel, o2):
    """The pair lies on one line, in both directions, and its residual is nought."""
    co2 = min(carbon_dioxide_from_oxygen(fuel, o2), ultimate_carbon_dioxide(fuel))
    assert oxygen_from_carbon_dioxide(fuel, co2) == pytest.approx(o2, abs=1e-6)
    assert pair_residual(fuel, co2, o2) == pytest.approx(0, abs=1e-9)
    assert implied_fuel(co2, o2).ultimate == pytest.approx(ultimate_carbon_dioxide(fuel), rel=1e-6)


@given(fuels | mixes, st.floats(1.0, 9.0), st.floats(0.001, 1.0))
def test_more_air_means_more_o2_less_co2_and_a_lower_dew_point(fuel, ratio, more):
    """Each quantity moves one way only with excess air."""
    before, after = flue_gas(fuel, ratio), flue_gas(fuel, ratio + more)
    assert after.oxygen > before.oxygen
    assert after.carbon_dioxide < before.carbon_dioxide
    assert after.water < before.water


@given(fuels)
def test_no_excess_air_and_endless_excess_air(fuel):
    """Without excess air O2 is nought and CO2 the ultimate; with endless air the flue gas is air."""
    exact, endless = flue_gas(fuel, 1.0), flue_gas(fuel, 1e9)
    assert exact.oxygen == 0
    assert 100 * exact.carbon_dioxide == pytest.approx(ultimate_carbon_dioxide(fuel))
    assert endless.oxygen == pytest.approx(0.20946, rel=1e-6)
    assert endless.carbon_dioxide == pytest.approx(0.0004, rel=1e-3)


@given(fuels, st.floats(0, 5000), st.floats(0.0, 20.0))
def test_air_free_co_by_o2_and_by_co2_agree(fuel, ppm, o2):
    """The two ways to air-free CO differ by the trade's 20.9 and the CO2 of the air only."""
    by_oxygen = air_free_carbon_monoxide(ppm, o2)
    by_carbon = air_free_carbon_monoxide_from_carbon_dioxide(
        fuel, ppm, min(carbon_dioxide_from_oxygen(fuel, o2), ultimate_carbon_dioxide(fuel))
    )
    # 20.946 against 20.9 counts most near plain air, where both divide by what little is left.
    assert by_oxygen == pytest.approx(by_carbon, rel=0.002 + 0.08 * o2 / (20.946 - o2), abs=1e-9)


@given(fuels, st.floats(0.0, 15.0), st.floats(0.0, 0.9))
def test_dilution_never_shows_in_the_pair(fuel, o2, air):
    """However much air is drawn into the sample, the implied fuel stays the same."""
    co2 = carbon_dioxide_from_oxygen(fuel, o2)
    implied = implied_fuel(co2 * (1 - air) + 0.04 * air, o2 * (1 - air) + 20.946 * air).ultimate
    assert implied == pytest.approx(ultimate_carbon_dioxide(fuel), rel=1e-6)


@given(gases, st.floats(1.0, 3.0), st.floats(25.0, 200.0), st.floats(0.1, 50))
def test_a_colder_flue_is_never_less_efficient(fuel, ratio, flue, colder):
    """Efficiency falls with flue temperature, through the dew point and beyond, and gross stays under net."""
    mixture = flue_gas(fuel, ratio)
    warm, cold = (efficiency(fuel, mixture, t, 20) for t in (flue, max(flue - colder, 20.0)))
    assert cold.net_percent >= warm.net_percent - 1e-9
    assert warm.gross_percent < warm.net_percent
    assert 0 <= warm.condensed <= warm.water
    assert warm.gross_percent < 100.5


@given(gases, st.floats(1.0, 2.0), st.floats(-0.001, 0.001))
def test_efficiency_has_no_step_at_the_dew_point(fuel, ratio, near):
    """The balance is continuous where condensation begins."""
    mixture = flue_gas(fuel, ratio)
    point = dew_point(mixture.water * 101.325)
    beside, at = (efficiency(fuel, mixture, t, 20).net_percent for t in (point + near, point))
    assert beside == pytest.approx(at, abs=0.002)


@given(st.floats(-49.0, 199.0))
def test_dew_point_undoes_saturation(celsius):
    """Saturation pressure and dew point are inverse, over ice too."""
    assert dew_point(saturation_pressure(celsius)) == pytest.approx(celsius, abs=1e-6)


@given(gases, st.floats(0, 30))
def test_hydrogen_lowers_co2_and_heating_value(fuel, percent):
    """More hydrogen means a lower ultimate CO2 and a lower heating value by volume."""
    less, more = fuel.diluted_with_hydrogen(percent), fuel.diluted_with_hydrogen(percent + 5)
    assert ultimate_carbon_dioxide(more) < ultimate_carbon_dioxide(less)
    assert gas_properties(more).gross < gas_properties(less).gross


@given(gases, st.floats(0.1, 500))
def test_gross_and_net_lead_back(fuel, kilowatts):
    """Net input is below gross, and converting back gives the same."""
    ratio = gas_properties(fuel).gross_to_net
    net = on_basis(HeatInput(kilowatts, "gross"), "net", ratio)
    assert net.kilowatts < kilowatts
    assert math.isclose(on_basis(net, "gross", ratio).kilowatts, kilowatts)
