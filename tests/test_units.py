"""Units against NIST SP 811 and against pint, a units library written by others."""

from decimal import Decimal, localcontext
from functools import cache
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.units import UnknownUnit, UnlikeUnits, convert, difference, dimension

PUBLISHED = [
    # NIST SP 811 (2008), appendix B.8: to convert from, to, multiply by.
    ("[in_i'H2O]", "Pa", "2.490889E+02"),
    ("mm[H2O]", "Pa", "9.80665E+00"),
    ("[psi]", "Pa", "6.894757E+03"),
    ("bar", "Pa", "1.0E+05"),
    ("mbar", "Pa", "1.0E+02"),
    ("atm", "Pa", "1.01325E+05"),
    ("[Btu_IT]", "J", "1.055056E+03"),
    ("[Btu_IT]/h", "W", "2.930711E-01"),
    ("[Btu_IT]/[cft_i]", "J/m3", "3.725895E+04"),
    ("[Btu_IT]/[lb_av]", "J/kg", "2.326E+03"),
    ("kW.h", "J", "3.6E+06"),
    ("[HP]", "W", "7.456999E+02"),
    ("[in_i]", "m", "2.54E-02"),
    ("[ft_i]", "m", "3.048E-01"),
    ("[sft_i]", "m2", "9.290304E-02"),
    ("[sin_i]", "m2", "6.4516E-04"),
    ("[cft_i]", "m3", "2.831685E-02"),
    ("[cin_i]", "m3", "1.638706E-05"),
    ("[cft_i]/min", "m3/s", "4.719474E-04"),
    ("[gal_us]", "m3", "3.785412E-03"),
    ("[gal_br]", "m3", "4.54609E-03"),
    ("L", "m3", "1.0E-03"),
    ("[lb_av]", "kg", "4.535924E-01"),
    ("[oz_av]", "kg", "2.834952E-02"),
    ("[lbf_av]", "N", "4.448222E+00"),
    ("[ft_i].[lbf_av]", "N.m", "1.355818E+00"),
    ("t", "kg", "1.0E+03"),
    ("d", "s", "8.64E+04"),
    ("/min", "Hz", "1.666667E-02"),
]


@pytest.mark.parametrize(("source", "target", "factor"), PUBLISHED)
def test_the_factors_are_those_that_are_published(source, target, factor):
    """Rounded to as many digits as the table prints, each factor is the table's."""
    printed = Decimal(factor)
    with localcontext() as context:
        context.prec = len(printed.as_tuple().digits)
        assert +convert(Decimal(1), source, target) == printed


PINT = {
    # UCUM code: the same unit as pint's registry spells it.
    "mbar": "mbar",
    "Pa": "Pa",
    "bar": "bar",
    "kPa": "kPa",
    "MPa": "MPa",
    "[in_i'H2O]": "9.80665 * 25.4 pascal",
    "mm[H2O]": "9.80665 pascal",
    "[psi]": "psi",
    "m3": "m**3",
    "[cft_i]": "ft**3",
    "L": "liter",
    "[gal_us]": "gallon",
    "[ft_i]": "ft",
    "m": "m",
    "mm": "mm",
    "[in_i]": "inch",
    "L/s": "liter/s",
    "m3/h": "m**3/hour",
    "[cft_i]/min": "ft**3/minute",
    "W": "W",
    "kW": "kW",
    "[Btu_IT]/h": "Btu_it/hour",
    "[HP]": "horsepower",
    "[Btu_IT]": "Btu_it",
    "MJ": "MJ",
    "kW.h": "kWh",
    "N.m": "N*m",
    "[ft_i].[lbf_av]": "foot*force_pound",
    "kJ/kg": "kJ/kg",
    "[Btu_IT]/[lb_av]": "Btu_it/lb",
    "MJ/m3": "MJ/m**3",
    "s": "s",
    "min": "minute",
    "h": "hour",
    "uA": "uA",
    "mV": "mV",
    "/min": "1/minute",
    "Hz": "1/s",
    "%": "percent",
    "[ppm]": "ppm",
    "1": "dimensionless",
    "g": "g",
    "kg": "kg",
    "[lb_av]": "lb",
    "[oz_av]": "oz",
    "K": "K",
    "Cel": "degC",
    "[degF]": "degF",
    "[degR]": "degR",
}
SCALES = ("degC", "degF", "degR", "K")


@cache
def _registry():
    import pint  # noqa: PLC0415 - a second for each worker that collects the tests

    return pint.UnitRegistry()


@cache
def _theirs(value, unit):
    """A quantity of pint's; a degree on a scale has a zero, which a product cannot have."""
    if unit in SCALES:
        return _registry().Quantity(value, unit)
    return (value * _registry().parse_expression(unit)).to_base_units()


@pytest.mark.parametrize("source", PINT)
def test_another_library_converts_alike(source):
    """Every pair of units: the same number, or both refuse."""
    have = _theirs(98.6, PINT[source])
    for target, theirs in PINT.items():
        one = _theirs(1.0, theirs)
        alike = have.dimensionality == one.dimensionality
        assert (dimension(source) == dimension(target)) == alike, (source, target)
        if alike:
            expected = have.to(theirs).magnitude if theirs in SCALES else have.magnitude / one.magnitude
            assert float(convert(Decimal("98.6"), source, target)) == pytest.approx(expected, rel=1e-12)
        else:
            with pytest.raises(UnlikeUnits):
                convert(Decimal("98.6"), source, target)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # Fixed points: the two scales meet, ice, steam (definition of the scale), absolute zero (ITS-90: 0 K).
    [("-40", "-40"), ("32", "0"), ("212", "100"), ("-459.67", "-273.15")],
)
def test_a_temperature_moves_with_the_zero_of_its_scale(fahrenheit, celsius):
    """Both ways, and exactly."""
    assert convert(Decimal(fahrenheit), "[degF]", "Cel") == Decimal(celsius)
    assert convert(Decimal(celsius), "Cel", "[degF]") == Decimal(fahrenheit)
    assert convert(Decimal(celsius), "Cel", "K") == Decimal(celsius) + Decimal("273.15")


def test_a_difference_has_no_zero():
    """Nine degrees Fahrenheit of superheat are five kelvin (NIST SP 811, B.8: an interval times 5/9)."""
    assert difference(Decimal(9), "[degF]", "K") == difference(Decimal(9), "[degF]", "Cel") == 5
    assert difference(Decimal("0.4"), "Cel", "[degF]") == Decimal("0.72")
    assert difference(Decimal("2.5"), "mbar", "Pa") == 250


def test_mercury_is_as_the_code_defines_it():
    """UCUM rounds the column to 133.3220 kPa a metre; NIST SP 811 prints 3.386389E+03 Pa an inch."""
    assert convert(Decimal(1), "[in_i'Hg]", "Pa") == Decimal("3386.3788")
    assert float(convert(Decimal(1), "[in_i'Hg]", "Pa")) == pytest.approx(3386.389, rel=1e-5)


def test_conversion_is_exact_and_does_not_depend_on_the_callers_context():
    """Digits are neither lost nor added; only what has no end is rounded."""
    with localcontext() as context:
        context.prec = 3
        assert convert(Decimal("1013.2512345678901234567890123"), "mbar", "Pa") == Decimal(
            "101325.12345678901234567890123"
        )
        assert str(convert(Decimal(1), "s", "min")) == "0.01666666666666666666666666667"


@given(
    st.decimals(-10_000, 10_000, places=4),
    st.sampled_from([pair for pair in product(PINT, PINT) if dimension(pair[0]) == dimension(pair[1])]),
)
def test_there_and_back_is_the_same(value, pair):
    """Up to the rounding of what has no end."""
    there = convert(value, *pair)
    assert float(convert(there, pair[1], pair[0])) == pytest.approx(float(value), rel=1e-20, abs=1e-15)


@pytest.mark.parametrize(
    "unit", ["inH2O", "", "/", "m3/", "kg/(m.s)", "W/[in_i", "m 3", "m/0", "m99999999", "khh", "k[psi]", "μA"]
)
def test_an_unknown_unit_is_told_in_one_sentence(unit):
    """The code is named, and what to write."""
    with pytest.raises(UnknownUnit) as caught:
        dimension(unit)
    assert str(caught.value) == (
        f"'{unit}' is no unit that is known here; write a UCUM code such as mbar, m3/h or [psi]"
    )


def test_a_scale_is_refused_in_a_product():
    """UCUM allows no algebra on scales: 1 Cel is either a step of a kelvin or a point, and nobody could tell."""
    with pytest.raises(UnknownUnit) as caught:
        dimension("kJ/Cel")
    assert str(caught.value) == "'Cel' is a scale and cannot stand in 'kJ/Cel'; write K or [degR] there"


def test_unlike_units_are_told_in_one_sentence():
    """Both are named, with what they measure."""
    with pytest.raises(UnlikeUnits) as caught:
        difference(Decimal(1), "mbar", "Cel")
    assert str(caught.value) == (
        "'mbar' is measured in kg.m-1.s-2 and 'Cel' in K, so one cannot be turned into the other"
    )
