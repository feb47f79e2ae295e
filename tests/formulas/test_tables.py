"""Tables: exact at the nodes, straight lines between them, refusal outside, the way back, strict rows."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.formulas.arithmetic import NoResult
from handsfree.formulas.tables import Table
from handsfree.problem import Problem
from tests.formulas.documents import CURVE, families

KELVIN = Decimal("273.15")
BAR = 100000


def curve() -> Table:
    return families()["saturation"].tables["X1"]


@pytest.mark.parametrize(("celsius", "bar"), [(0, 2), (10, 3), (20, 5), (5, Decimal("2.5")), (15, 4)])
def test_nodes_are_exact_and_lines_are_straight(celsius: int, bar: Decimal) -> None:
    assert curve().look_up("bubble", celsius + KELVIN) == bar * BAR
    assert curve().look_back("bubble", Decimal(bar * BAR)) == celsius + KELVIN


@settings(deadline=None)
@given(st.decimals(0, 20, places=4, allow_nan=False))
def test_the_lines_are_those_of_numpy(celsius: Decimal) -> None:
    """numpy.interp is the reference."""
    found = curve().look_up("density", celsius + KELVIN)
    assert float(found) == pytest.approx(np.interp(float(celsius), [0, 10, 20], [1000, 900, 950]), rel=1e-12)


@settings(deadline=None)
@given(st.decimals(0, 20, places=4, allow_nan=False))
def test_back_and_forth_ends_where_it_began(celsius: Decimal) -> None:
    there = curve().look_up("dew", celsius + KELVIN)
    assert abs(curve().look_back("dew", there) - celsius - KELVIN) < Decimal("1e-20")


def test_outside_the_table_nothing_is_made_up() -> None:
    for celsius in ("-0.01", "20.01"):
        with pytest.raises(NoResult, match="outside the table 'X1', which holds 0 to 20 Cel"):
            curve().look_up("dew", Decimal(celsius) + KELVIN)
    with pytest.raises(
        NoResult, match=r"dew pressure of 4.51 bar is outside the table 'X1', which holds 1.8 to 4.5"
    ):
        curve().look_back("dew", Decimal(451000))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "[10, 3.0, 2.7, 900]",
            "[10, 3.0, 2.7]",
            "tables.yaml:17:13: this row has 3 numbers, and the table has 4",
        ),
        ("[10, 3.0, 2.7, 900]", "[0, 3.0, 2.7, 900]", "tables.yaml:17:13: 0 does not lie above 0"),
        ("[10, 3.0, 2.7, 900]", "[10, three, 2.7, 900]", "tables.yaml:17:"),
        ("unit: kg/m3", "unit: stone", "tables.yaml:9:31: 'stone' is no unit"),
        ("is: absolute, says: dew", "is: point, says: dew", "only a temperature is a point"),
        ("        source: invented for the tests\n", "", "source: Field required"),
        ("uncertainty: 0.1", "uncertainty: -0.1", "greater than or equal to 0"),
    ],
)
def test_a_table_with_a_mistake_is_refused_with_its_line(old: str, new: str, says: str) -> None:
    with pytest.raises(Problem) as caught:
        families(CURVE.replace(old, new))
    assert says in caught.value.sentence()
    assert caught.value.sentence().startswith("tables.yaml:")
