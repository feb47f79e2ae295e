"""The interval of a slope against certified regressions: what is off by one degree of freedom fails here.

Norris: NIST Statistical Reference Datasets, linear regression,
https://www.itl.nist.gov/div898/strd/lls/data/Norris.shtml (36 readings of an ozone monitor, y, against a
standard, x). Student's t: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, the columns 0.95 and
0.975, three decimals. Both are outside values; none was computed here.
"""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from handsfree.measurement.settling import Sample, SettleRule, line_through, slope_half_width

NORRIS = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6
778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7
556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2
998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
"""
SLOPE = 1.00211681802045
SLOPE_DEVIATION = 0.429796848199937e-3
RESIDUAL_DEVIATION = 0.884796396144373
T_95 = {9: 1.833, 42: 1.682}
T_975 = {1: 12.706, 34: 2.032}
PRINTED = 0.0005
"""Half of the last digit of the table."""


def norris() -> list[Sample]:
    numbers = NORRIS.split()
    return [Sample(float(x), Decimal(y)) for y, x in zip(numbers[::2], numbers[1::2], strict=True)]


def rule(noise: float) -> SettleRule:
    """Return a rule whose display hides next to nothing and flickers by a standard deviation."""
    return SettleRule(Decimal(1), Decimal("0.0001"), noise=Decimal(repr(noise)))


def test_the_line_is_the_certified_one() -> None:
    """Slope and residual deviation to eleven digits."""
    line = line_through(norris())
    assert line.slope == pytest.approx(SLOPE, rel=1e-11)
    assert math.sqrt(line.residual_squares / 34) == pytest.approx(RESIDUAL_DEVIATION, rel=1e-11)
    assert (line.count, line.span) == (36, pytest.approx(999.0 - 0.2))


def test_the_slopes_interval_is_the_certified_deviation_times_students_t() -> None:
    """95 % with 36 - 2 = 34 degrees of freedom."""
    low, high = (SLOPE_DEVIATION * (T_975[34] + sign * PRINTED) for sign in (-1, 1))
    assert low <= line_through(norris()).half_width <= high


def test_three_readings_leave_one_degree_of_freedom() -> None:
    """1, 2, 6 at 0, 1, 2: slope 2.5, residuals 0.5, -1, 0.5, so s = sqrt(1.5); that of the slope is s/sqrt(2)."""
    line = line_through([Sample(0, Decimal(1)), Sample(1, Decimal(2)), Sample(2, Decimal(6))])
    assert line.slope == pytest.approx(2.5)
    assert line.half_width == pytest.approx(T_975[1] * math.sqrt(1.5 / 2), abs=PRINTED)
    assert math.isinf(line_through([Sample(0, Decimal(1)), Sample(1, Decimal(2))]).half_width)


def test_noise_known_beforehand_adds_its_eight_degrees_of_freedom() -> None:
    """Noise as large as the residual deviation leaves it as it is, with 8 + 34 = 42 degrees of freedom: 90 %.

    Pooling by degrees of freedom: GUM (JCGM 100:2008) 4.2.4 and H.3.6. The eight is our own, stated in the module.
    """
    low, high = (SLOPE_DEVIATION * (T_95[42] + sign * PRINTED) for sign in (-1, 1))
    assert low <= slope_half_width(line_through(norris()), rule(RESIDUAL_DEVIATION)) <= high


def test_three_readings_with_known_noise_have_nine_degrees_of_freedom() -> None:
    """Noise sqrt(1.5), as the residual deviation of 1, 2, 6 at 0, 1, 2: t of 9, not of 1."""
    line = line_through([Sample(0, Decimal(1)), Sample(1, Decimal(2)), Sample(2, Decimal(6))])
    assert slope_half_width(line, rule(math.sqrt(1.5))) == pytest.approx(T_95[9] * math.sqrt(1.5 / 2), abs=PRINTED)


def test_two_readings_rest_on_the_known_noise_alone() -> None:
    """Its eight degrees of freedom: t is 1.860 in the same table; 4 apart in 2 s has no residual."""
    line = line_through([Sample(0, Decimal(1)), Sample(2, Decimal(5))])
    assert slope_half_width(line, rule(3.0)) == pytest.approx(1.860 * 3.0 / math.sqrt(2), abs=3 * PRINTED)
