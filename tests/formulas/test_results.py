"""Results: rounding that is the same everywhere, uncertainty against Monte Carlo, and refusals in words."""

from __future__ import annotations

import decimal
import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.formulas.arithmetic import NoResult, rounded, two_digits
from handsfree.formulas.formula import Given, work_out
from tests.formulas.documents import families, formula

LENGTHS = "a: {quantity: length}\nb: {fact: job.size, unit: cm}"


def number(value: str, unit: str, uncertainty: str = "0") -> Given:
    return Given(Decimal(value), unit, Decimal(uncertainty))


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [
        ("2.5", 0, "2"),
        ("3.5", 0, "4"),
        ("0.125", 2, "0.12"),
        ("-0.5", 0, "0"),
        ("-1.5", 0, "-2"),
        ("7", 2, "7.00"),
    ],
)
def test_rounding_is_half_to_even(value: str, decimals: int, expected: str) -> None:
    """IEEE 754-2019, 4.3.1 roundTiesToEven."""
    assert str(rounded(Decimal(value), decimals)) == expected


@pytest.mark.parametrize(
    ("value", "expected"), [("0.0449", "0.045"), ("128", "130"), ("0", "0"), ("0.0995", "0.10")]
)
def test_an_uncertainty_has_two_digits(value: str, expected: str) -> None:
    """JCGM 100:2008, 7.2.6."""
    assert two_digits(Decimal(value)) == Decimal(expected)


def test_the_callers_decimal_context_changes_nothing() -> None:
    made = formula("ln(a / b) / 3", "1", LENGTHS, decimals=6)
    inputs = {"a": number("7", "m", "0.3"), "b": number("130", "cm", "2")}
    plain = work_out(made, inputs, {})
    with decimal.localcontext(decimal.Context(prec=4, rounding=decimal.ROUND_UP, traps=[decimal.Inexact])):
        assert work_out(made, inputs, {}) == plain
    assert plain.value == Decimal("0.561182")  # ln(7 / 1.3) / 3 = 0.56118198…
    assert float(plain.value) == pytest.approx(math.log(7 / 1.3) / 3, abs=5e-7)


def test_an_input_may_come_in_any_like_unit() -> None:
    made = formula("a + b", "m", LENGTHS)
    assert work_out(made, {"a": number("1", "[ft_i]"), "b": number("10", "mm")}, {}).value == Decimal("0.315")
    with pytest.raises(NoResult, match="'kg' is measured in kg and 'm' in m"):
        work_out(made, {"a": number("1", "kg"), "b": number("10", "mm")}, {})


def test_a_missing_input_is_named() -> None:
    made = formula("dew(r, p) - t", "K", "r: {table: saturation, fact: job.fluid}\nt: {quantity: temperature}\n"
                   "p: {quantity: pressure, is: absolute}")  # fmt: skip
    with pytest.raises(NoResult, match="'it' needs t, p, r, which is not given"):
        work_out(made, {}, {})


@pytest.mark.parametrize(("value", "uncertainty"), [("NaN", "0"), ("Infinity", "0"), ("1", "-1"), ("1", "NaN")])
def test_no_number_is_no_reading(value: str, uncertainty: str) -> None:
    made = formula("a + b", "m", LENGTHS)
    with pytest.raises(NoResult, match="is no reading"):
        work_out(made, {"a": number(value, "m", uncertainty), "b": number("1", "m")}, {})


def test_the_result_carries_what_went_in() -> None:
    made = formula(
        "a * k", "m", "a: {quantity: length}\nk: {value: 2, unit: '1', uncertainty: 0.1, source: a book}"
    )
    result = work_out(made, {"a": number("3.0", "m", "0.4")}, {})
    assert (result.value, result.unit, result.uncertainty) == (Decimal("6.000"), "m", Decimal("0.85"))
    assert result.numbers() == {
        "value": "6.000 m",
        "standard uncertainty": "0.85 m",  # sqrt((2 · 0.4)² + (3 · 0.1)²) = 0.854
        "formula": "a * k",
        "source": "invented for the tests",
        "a": "3.0 m, u 0.4",
        "k": "2 1, u 0.1",
    }
    assert [item.share for item in result.used] == [Decimal("0.80"), Decimal("0.30")]


def test_the_worked_example_of_the_gum_for_a_product_of_powers() -> None:
    """JCGM 100:2008, 5.1.6: relative uncertainties of a product of powers add in squares, each times its power."""
    made = formula("a ^ 2 / b", "m", LENGTHS, decimals=6)
    result = work_out(made, {"a": number("3", "m", "0.003"), "b": number("150", "cm", "0.45")}, {})
    relative = math.hypot(2 * 0.001, 0.003)
    assert float(result.uncertainty) == pytest.approx(6 * relative, rel=0.02)


@settings(deadline=None, max_examples=15)
@given(
    st.floats(2.2, 4.4),
    st.floats(0.5, 18),
    st.floats(0.005, 0.05),
    st.floats(0.05, 0.5),
)
def test_uncertainty_agrees_with_monte_carlo(
    pressure: float, line: float, u_pressure: float, u_line: float
) -> None:
    """JCGM 101:2008, clause 7: the distribution itself, 200,000 draws, numpy."""
    made = formula(
        "t - dew(r, absolute(p, air))", "K",
        "t: {quantity: temperature}\np: {quantity: pressure, is: gauge}\n"
        "r: {table: saturation, fact: job.fluid}\n"
        "air: {value: 1000, unit: mbar, is: absolute, uncertainty: 10, source: a book}",
        decimals=4,
    )  # fmt: skip
    p, t = f"{pressure - 1:.4f}", f"{line:.2f}"
    result = work_out(
        made,
        {"t": number(t, "Cel", f"{u_line:.4f}"), "p": number(p, "bar", f"{u_pressure:.4f}")},
        {"r": families()["saturation"].tables["X1"]},
    )
    draws = np.random.default_rng(1).normal(size=(4, 200_000))
    absolute = float(p) + u_pressure * draws[0] + 1.0 + 0.010 * draws[1]
    dew = np.interp(absolute, [1.8, 2.7, 4.5], [0, 10, 20]) + 0.1 * draws[2]
    superheat = float(t) + u_line * draws[3] - dew
    assert float(result.value) == pytest.approx(superheat.mean(), abs=4 * superheat.std() / 400 + 0.12)
    assert float(result.uncertainty) == pytest.approx(superheat.std(), rel=0.08)


def test_at_the_edge_of_a_table_the_side_that_exists_counts() -> None:
    made = formula(
        "dew(r, p)", "Cel", "p: {quantity: pressure, is: absolute}\nr: {table: saturation, fact: job.fluid}"
    )
    table = {"r": families()["saturation"].tables["X1"]}
    edge = work_out(made, {"p": number("1.8", "bar", "0.09")}, table)
    assert edge.value == Decimal("0.000")
    assert float(edge.uncertainty) == pytest.approx(math.hypot(1.0, 0.1), rel=0.02)  # 10 K over 0.9 bar, and 0.1 K


def test_gauge_and_absolute_pressure_differ_by_the_air_both_ways() -> None:
    pair = "p: {quantity: pressure, is: gauge}\nair: {fact: job.air, unit: mbar, is: absolute}"
    inputs = {"p": number("8.20", "bar"), "air": number("850", "mbar")}
    there = formula("absolute(p, air)", "bar", pair, more="    is: absolute\n")
    assert work_out(there, inputs, {}).value == Decimal("9.050")
    back = formula("gauge(absolute(p, air), air)", "bar", pair, more="    is: gauge\n")
    assert work_out(back, inputs, {}).value == Decimal("8.200")
    half = formula("absolute(p, air) / 2", "bar", pair, more="    is: absolute\n")
    assert work_out(half, inputs, {}).value == Decimal("4.525")


def test_the_curve_of_a_table_moves_the_same_way_there_and_back() -> None:
    """A curve 0.1 K too low has pressures too high by its slope: 1 bar over 10 K, 0.1 K, is 0.01 bar."""
    made = formula(
        "bubble_pressure(r, t)", "bar", "t: {quantity: temperature}\nr: {table: saturation, fact: job.fluid}",
        more="    is: absolute\n",
    )  # fmt: skip
    table = {"r": families()["saturation"].tables["X1"]}
    assert work_out(made, {"t": number("5", "Cel")}, table).uncertainty == Decimal("0.010")
    both = formula(
        "bubble(r, bubble_pressure(r, t)) - t", "K",
        "t: {quantity: temperature}\nr: {table: saturation, fact: job.fluid}",
    )  # fmt: skip
    assert work_out(both, {"t": number("5", "Cel")}, table).uncertainty == 0
