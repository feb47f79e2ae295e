"""The product against independent libraries: Cantera, CoolProp, chemicals, fluids, scipy.

They are test dependencies; each test says which one it lacks when it is skipped.
"""

from __future__ import annotations

import math

import pytest

from handsfree.measurement.distributions import normal_cumulative, student_quantile
from handsfree.trades.combustion.altitude import standard_pressure
from handsfree.trades.combustion.components import COMPONENTS, WATER_VAPORISATION
from handsfree.trades.combustion.enthalpy import LIQUID_HEAT, POLYNOMIALS, VAPORISATION, sensible
from handsfree.trades.combustion.flue_gas import air_ratio_from_oxygen
from handsfree.trades.combustion.fuels import FUELS
from handsfree.trades.combustion.heating_value import NORMAL, gas_properties
from handsfree.trades.combustion.losses import efficiency, flue_gas_dew_point
from handsfree.trades.combustion.stoichiometry import flue_gas
from handsfree.trades.combustion.water import dew_point, humidity, saturation_pressure


@pytest.fixture(scope="module")
def mechanism():
    """GRI-Mech 3.0."""
    cantera = pytest.importorskip("cantera", reason="cantera is a test dependency")
    return cantera.Solution("gri30.yaml")


@pytest.fixture(scope="module")
def properties():
    """CoolProp's high-level function."""
    return pytest.importorskip("CoolProp.CoolProp", reason="CoolProp is a test dependency").PropsSI


def complete_combustion(mechanism, fuel, air_ratio):
    """Dry O2 and CO2, and H2O of the wet gas, from Cantera's own element bookkeeping."""
    formulas = {"nC4H10": "C4H10"}
    assert not set(formulas) & set(fuel.composition), "GRI-Mech holds no butane"
    air = {"O2": 0.20946, "CO2": 0.0004, "N2": 0.79014}
    mechanism.TPX = 298.15, 101325, fuel.composition
    mechanism.set_equivalence_ratio(1 / air_ratio, fuel.composition, air)
    carbon, hydrogen, oxygen, nitrogen = (mechanism.elemental_mole_fraction(element) for element in "CHON")
    water, nitrogen2 = hydrogen / 2, nitrogen / 2
    surplus = oxygen / 2 - carbon - water / 2
    dry = carbon + surplus + nitrogen2
    return surplus / dry, carbon / dry, water / (dry + water)


@pytest.mark.parametrize(
    "name", ["methane", "ethane", "propane", "natural gas", "G21", "G222", "natural gas with 20 % hydrogen"]
)
@pytest.mark.parametrize("air_ratio", [1.0, 1.25, 2.0])
def test_flue_gas_matches_cantera(mechanism, name, air_ratio):
    """O2, CO2 and H2O of complete combustion agree to a part in ten thousand with Cantera's balance."""
    ours = flue_gas(FUELS[name], air_ratio)
    oxygen, carbon_dioxide, water = complete_combustion(mechanism, FUELS[name], air_ratio)
    assert ours.oxygen == pytest.approx(oxygen, abs=2e-6)
    assert ours.carbon_dioxide == pytest.approx(carbon_dioxide, rel=1e-4)
    assert ours.water == pytest.approx(water, rel=1e-4)


@pytest.mark.parametrize("species", ["N2", "O2", "Ar", "CO2", "H2O"])
@pytest.mark.parametrize("celsius", [100, 250, 400])
def test_enthalpy_is_the_mechanisms_to_seven_digits(mechanism, species, celsius):
    """The polynomials are those of GRI-Mech 3.0, digit by digit: no other value was typed in."""
    thermo = mechanism.species(species.upper() if species == "Ar" else species).thermo
    rise = (thermo.h(celsius + 273.15) - thermo.h(298.15)) / 1e6
    assert sensible(species, celsius) == pytest.approx(rise, rel=1e-7)


@pytest.mark.parametrize("species", ["N2", "O2", "Ar", "CO2", "H2O"])
def test_every_coefficient_is_the_mechanisms(mechanism, species):
    """Heat capacity at 900 K, where the highest powers count, agrees to six digits."""
    thermo = mechanism.species(species.upper() if species == "Ar" else species).thermo
    ours = sum(a * 900**power for power, a in enumerate(POLYNOMIALS[species]))
    assert ours == pytest.approx(thermo.cp(900) / 8314.46261815324, rel=1e-6)


@pytest.mark.parametrize(
    ("species", "fluid"),
    [("N2", "Nitrogen"), ("O2", "Oxygen"), ("Ar", "Argon"), ("CO2", "CarbonDioxide"), ("H2O", "Water")],
)
def test_enthalpy_matches_coolprop(properties, species, fluid):
    """From 25 to 200 Cel the ideal-gas enthalpy agrees within 0.2 % with CoolProp's equations of state."""
    steps = 50
    width = 175 / steps
    kelvins = [298.15 + width * (step + 0.5) for step in range(steps)]
    rise = sum(properties("CP0MOLAR", "T", kelvin, "P", 1.0, fluid) for kelvin in kelvins) * width / 1000
    assert sensible(species, 200) == pytest.approx(rise, rel=0.002)


@pytest.mark.parametrize("celsius", [0.5, 10, 25, 40, 54, 60, 90, 150])
def test_saturation_pressure_matches_coolprop(properties, celsius):
    """Vapour pressure agrees to a part in ten thousand with IAPWS-IF97 and with IAPWS-95."""
    for fluid, share in (("IF97::Water", 1e-7), ("HEOS::Water", 3e-4)):
        expected = properties("P", "T", celsius + 273.15, "Q", 1, fluid) / 1000
        assert saturation_pressure(celsius) == pytest.approx(expected, rel=share)
    assert dew_point(saturation_pressure(celsius)) == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize(("kelvin", "pascal"), [(230.0, 8.94735), (273.16, 611.657)])
def test_vapour_pressure_over_ice(kelvin, pascal):
    """IAPWS R14-08(2011): 8.94735 Pa at 230 K (its check value, from memory) and the triple point."""
    assert saturation_pressure(kelvin - 273.15 - 1e-9) * 1000 == pytest.approx(pascal, rel=1e-5)


def test_humidity_matches_coolprops_moist_air():
    """Moisture of air at 20 Cel, 50 % agrees within 0.5 % with CoolProp's real moist air."""
    module = pytest.importorskip("CoolProp.HumidAirProp", reason="CoolProp is a test dependency")
    ratio = module.HAPropsSI("W", "T", 293.15, "P", 101325, "R", 0.5) * 28.96546 / 18.01528
    assert humidity(20, 50) == pytest.approx(ratio, rel=0.005)


def test_heat_of_vaporisation_matches_coolprop(properties):
    """Latent heat at 25 Cel and the heat of liquid water agree with IAPWS-95."""
    latent = (
        properties("H", "T", 298.15, "Q", 1, "Water") - properties("H", "T", 298.15, "Q", 0, "Water")
    ) * 18.01528e-6
    assert pytest.approx(latent, abs=0.005) == VAPORISATION
    rise = (
        properties("H", "T", 333.15, "Q", 0, "Water") - properties("H", "T", 293.15, "Q", 0, "Water")
    ) * 18.01528e-6
    assert pytest.approx(rise / 40, rel=0.002) == LIQUID_HEAT


@pytest.mark.parametrize("name", ["methane", "propane"])
@pytest.mark.parametrize(("o2", "flue"), [(5.0, 120.0), (5.0, 40.0), (8.0, 55.0), (3.0, 30.0)])
def test_efficiency_matches_a_balance_in_cantera(mechanism, properties, name, o2, flue):
    """Net efficiency agrees within 0.1 point with enthalpies from Cantera and steam tables from CoolProp."""
    fuel = FUELS[name]
    gas = flue_gas(fuel, air_ratio_from_oxygen(fuel, o2))

    def enthalpy(species, celsius):
        return mechanism.species(species).thermo.h(celsius + 273.15) / 1e6

    saturated = properties("P", "T", flue + 273.15, "Q", 1, "IF97::Water") / 101325
    most = gas.dry_volume * saturated / (1 - saturated) if saturated < 1 else math.inf
    vapour = min(gas.water_volume, most)
    latent = (
        properties("H", "T", 298.15, "Q", 1, "Water") - properties("H", "T", flue + 273.15, "Q", 0, "Water")
    ) * 18.01528e-6
    carbon_dioxide, oxygen = gas.dry_volume * gas.carbon_dioxide, gas.dry_volume * gas.oxygen
    inert = gas.dry_volume - carbon_dioxide - oxygen
    out = carbon_dioxide * enthalpy("CO2", flue) + oxygen * enthalpy("O2", flue) + inert * enthalpy("N2", flue)
    out += vapour * enthalpy("H2O", flue) + (gas.water_volume - vapour) * (enthalpy("H2O", 25) - latent)
    air = gas.air_volume
    fed = air * (0.20946 * enthalpy("O2", 20) + 0.79014 * enthalpy("N2", 20) + 0.0004 * enthalpy("CO2", 20))
    fed += enthalpy({"methane": "CH4", "propane": "C3H8"}[name], 25)
    net = gas_properties(fuel, NORMAL).net_molar
    assert efficiency(fuel, gas, flue, 20).net_percent == pytest.approx(100 * (fed - out) / net, abs=0.1)


@pytest.mark.parametrize(
    ("formula", "number"),
    [
        ("CH4", "74-82-8"),
        ("C2H6", "74-84-0"),
        ("C3H8", "74-98-6"),
        ("nC4H10", "106-97-8"),
        ("iC4H10", "75-28-5"),
        ("nC5H12", "109-66-0"),
        ("nC6H14", "110-54-3"),
        ("H2", "1333-74-0"),
    ],
)
def test_heats_of_combustion_match_chemicals(formula, number):
    """Gross heats at 25 Cel agree within 0.15 % with the ones that chemicals derives from heats of formation."""
    chemicals = pytest.importorskip("chemicals", reason="chemicals is a test dependency")
    component = COMPONENTS[formula]
    atoms = {"C": component.carbon, "H": component.hydrogen, "O": component.oxygen}
    heat = chemicals.combustion.HHV_stoichiometry(
        chemicals.combustion.combustion_stoichiometry({a: n for a, n in atoms.items() if n}),
        Hf=chemicals.Hfg(number),
    )
    assert component.gross_heat_at(25.0) == pytest.approx(-heat / 1000, rel=0.0015)
    assert component.molar_mass == pytest.approx(chemicals.MW(number), rel=1e-4)


@pytest.mark.parametrize("metres", [-300, 0, 610, 1609, 3048, 5500])
def test_the_atmosphere_matches_fluids(metres):
    """Pressure agrees to a part in ten thousand with the US Standard Atmosphere in fluids."""
    fluids = pytest.importorskip("fluids", reason="fluids is a test dependency")
    standard = fluids.ATMOSPHERE_1976(metres)
    # Below 11 km the standard takes geopotential height; geometric height differs by 1 part in 6000 here.
    assert standard_pressure(metres) == pytest.approx(standard.P / 1000, rel=7e-4)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 10, 29, 60])
@pytest.mark.parametrize("central", [0.5, 0.9, 0.95, 0.99])
def test_students_t_matches_scipy(freedom, central):
    """Quantiles agree to nine digits with scipy's."""
    stats = pytest.importorskip("scipy.stats", reason="scipy is a dependency")
    assert student_quantile(central, freedom) == pytest.approx(stats.t.ppf((1 + central) / 2, freedom), rel=1e-9)


@pytest.mark.parametrize("z", [-8.0, -1.96, 0.0, 0.3, 4.0])
def test_the_normal_distribution_matches_scipy(z):
    """The normal distribution agrees to twelve digits with scipy's, also far out."""
    stats = pytest.importorskip("scipy.stats", reason="scipy is a dependency")
    assert normal_cumulative(z) == pytest.approx(stats.norm.cdf(z), rel=1e-12)


def test_dew_point_matches_coolprop(properties):
    """The dew point of flue gas agrees within 0.02 K with CoolProp for the same vapour pressure."""
    gas = flue_gas(FUELS["natural gas"], 1.24)
    expected = properties("T", "P", gas.water * 101325, "Q", 1, "IF97::Water") - 273.15
    assert flue_gas_dew_point(gas) == pytest.approx(expected, abs=0.02)


def test_latent_heat_of_the_standard_is_that_of_water(properties):
    """ISO 6976's molar heat of vaporisation lies within 0.15 % of IAPWS-95 at each temperature."""
    for celsius, value in WATER_VAPORISATION.items():
        kelvin = max(celsius + 273.15, 273.16)
        latent = properties("H", "T", kelvin, "Q", 1, "Water") - properties("H", "T", kelvin, "Q", 0, "Water")
        assert value == pytest.approx(latent * 18.01528e-6, rel=0.0015)
    assert math.isclose(WATER_VAPORISATION[25.0], 44.013)
