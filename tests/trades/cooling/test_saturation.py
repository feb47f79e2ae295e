"""The saturation tables against publications between the nodes, and against CoolProp at many points."""

from __future__ import annotations

from decimal import Decimal

import pytest

from handsfree.formulas.arithmetic import NoResult
from tests.trades.cooling.cooling import boiling, tables
from tests.trades.cooling.published import POINTS, Point
from tests.trades.cooling.saturation_nodes import BUBBLE, DEW, FLUIDS, from_neighbours, pressure, rows

LINES = {BUBBLE: "bubble", DEW: "dew"}


@pytest.mark.parametrize("point", POINTS, ids=str)
def test_published_points_lie_between_the_nodes_and_on_the_line(point: Point) -> None:
    assert abs(boiling(point.refrigerant, LINES[point.line], point.bar) - point.celsius) <= point.tolerance


@pytest.mark.parametrize("refrigerant", FLUIDS)
def test_each_node_is_what_coolprop_gives(refrigerant: str) -> None:
    expected = [tuple(map(Decimal, map(str, row))) for row in rows(refrigerant)]
    for ours, theirs in zip(tables()[refrigerant].rows, expected, strict=True):
        assert all(abs(one - other) <= Decimal("0.0001") for one, other in zip(ours, theirs, strict=True)), ours


@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize("refrigerant", FLUIDS)
def test_straight_lines_err_by_less_than_a_tenth_of_a_kelvin(refrigerant: str, line: int) -> None:
    """CoolProp between the nodes, where its solver for blends answers; 0.018 K is what saturation.yaml says."""
    errors = []
    for quarter in range(-159, 256):
        at = quarter / 4
        try:
            bar = pressure(refrigerant, at, line)
        except ValueError:
            continue
        errors.append(abs(boiling(refrigerant, LINES[line], bar) - at))
    assert len(errors) > 380
    assert 0.017 < max(errors) < 0.0185


def test_the_node_that_its_neighbours_give_is_as_exact_as_the_others() -> None:
    for at in (-20, 0, 30, 50):
        assert from_neighbours("R454B", at, BUBBLE) == pytest.approx(pressure("R454B", at, BUBBLE), abs=2e-5)


def test_the_zeotrope_has_two_temperatures_at_each_pressure() -> None:
    """The glide of R-454B is about 1.5 °F to 2.7 °F (0.8 K to 1.5 K) in trade pages; dew is the warmer one."""
    for bar in (5.0, 8.0, 10.0, 20.0, 28.0):
        glide = boiling("R454B", "dew", bar) - boiling("R454B", "bubble", bar)
        assert 0.8 < glide < 1.6
        assert 0 < boiling("R410A", "dew", bar) - boiling("R410A", "bubble", bar) < 0.2
        assert boiling("R32", "dew", bar) == boiling("R32", "bubble", bar)


def test_outside_the_table_it_says_so() -> None:
    with pytest.raises(
        NoResult, match=r"dew pressure of 50 bar is outside the table 'R32', which holds 1.7741 to"
    ):
        boiling("R32", "dew", 50.0)
