"""Verdicts say how sure they are, and a hazard limit fails inside its guard band."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.measurement.distributions import rounded, student_quantile
from handsfree.measurement.uncertainty import (
    combined,
    expanded,
    of_difference,
    propagated,
    rectangular,
)
from handsfree.measurement.verdict import GUARDED, Band, DecisionRule, Measured, judge, judge_difference
from handsfree.problem import Problem

D = Decimal
MAKER = Band(D("8.9"), D("9.9"), "invented sheet, page 7")
CO_LIMIT = Band(None, D(200), "invented sheet, page 8")


@pytest.mark.parametrize(
    ("value", "outcome", "demonstrated", "passes"),
    [
        ("9.40", "within", True, True),
        ("9.85", "too close to call", False, True),
        ("9.90", "too close to call", False, True),
        ("9.95", "too close to call", False, False),
        ("10.20", "outside", False, False),
        ("8.40", "outside", False, False),
    ],
)
def test_a_setting_band_passes_what_is_in_it_and_marks_what_is_not_demonstrated(
    value, outcome, demonstrated, passes
):
    """C145, C149, C152: in band but not demonstrated passes, marked so; out of band never passes."""
    verdict = judge(D(value), MAKER, expanded(0.3))
    assert (verdict.outcome, verdict.demonstrated, verdict.passes) == (outcome, demonstrated, passes)
    assert verdict.sentence().startswith("in band, not demonstrated" if passes and not demonstrated else outcome)


@pytest.mark.parametrize(("value", "passes"), [("170", True), ("185", False), ("199", False), ("201", False)])
def test_a_co_limit_fails_in_the_guard_band(value, passes):
    """With w = U a CO of 185 against 200, U = 20, is not accepted (ILAC-G8)."""
    verdict = judge(D(value), CO_LIMIT, expanded(20), GUARDED)
    assert verdict.passes == passes
    assert verdict.passes == verdict.demonstrated


def test_a_verdict_carries_its_rule_and_its_numbers():
    """Everything needed to check the verdict by hand stands in it, as text."""
    verdict = judge(D("9.85"), MAKER, 0.15)
    assert verdict.numbers == {
        "value": "9.85",
        "band": "8.9 to 9.9",
        "source": "invented sheet, page 7",
        "standard uncertainty": "0.1500",
        "probability within": "0.631",
    }
    assert "JCGM 106" in verdict.rule


def test_without_uncertainty_the_edge_is_within():
    """A limit is allowed itself; nothing is taken off it in silence."""
    assert judge(D("9.9"), MAKER, 0).outcome == "within"
    assert judge(D("9.91"), MAKER, 0).outcome == "outside"


@given(
    st.decimals(7, 12, places=2),
    st.floats(0.001, 2.0),
    st.sampled_from([MAKER, Band(None, D("9.9"), "s"), Band(D("8.9"), None, "s")]),
    st.sampled_from([GUARDED, DecisionRule("other", D("0.95"), passes_undemonstrated=True)]),
)
def test_a_verdict_is_consistent_with_itself(value, uncertainty, band, rule):
    """Within is always in band and passes; outside never passes; the probability lies between 0 and 1."""
    verdict = judge(value, band, uncertainty, rule)
    assert 0 <= verdict.probability <= 1
    assert verdict.demonstrated == (verdict.outcome == "within")
    if verdict.demonstrated:
        assert band.holds(value)
        assert verdict.passes
    if not band.holds(value):
        assert not verdict.passes


@given(st.decimals("9.0", "9.8", places=2), st.floats(0.01, 0.5), st.floats(1.05, 3))
def test_more_uncertainty_never_demonstrates_more(value, uncertainty, factor):
    """A worse instrument can only lower the probability of a value inside its band."""
    better, worse = judge(value, MAKER, uncertainty), judge(value, MAKER, uncertainty * factor)
    assert worse.probability <= better.probability


def test_the_difference_of_two_rates():
    """±0.2 between the rates: 0.1 passes, demonstrated only because one instrument's errors mostly cancel."""
    band = Band(D("-0.2"), D("0.2"), "invented sheet")
    first, second = Measured(D("9.40"), 0.15, 0.02), Measured(D("9.35"), 0.15, 0.02)
    assert judge_difference(first, second, band).demonstrated
    assert not judge_difference(first, second, band, correlation=0.0).demonstrated
    assert judge_difference(first, second, band).numbers["correlation"] == "0.9"


def test_a_rule_that_minimum_must_not_be_richer_has_one_edge():
    """Maximum minus minimum at least nought."""
    rule = Band(D(0), None, "invented sheet")
    richer = judge_difference(Measured(D("9.0"), 0.15, 0.02), Measured(D("9.4"), 0.15, 0.02), rule)
    assert richer.outcome == "outside"


@pytest.mark.parametrize(
    ("act", "message"),
    [
        (lambda: Band(None, None, "s"), "needs at least one limit"),
        (lambda: Band(D(2), D(1), "s"), "the band is empty: 2 is not below 1"),
        (lambda: Band(D("NaN"), D(1), "s"), "not a number"),
        (lambda: Band(D(1), D(2), ""), "names no source"),
        (lambda: judge(D("NaN"), MAKER, 0.1), "not a number"),
        (lambda: judge(D("9.4"), MAKER, -0.1), "from 0 up"),
        (lambda: judge(D("9.4"), MAKER, float("nan")), "from 0 up"),
        (lambda: judge(D("9.4"), MAKER, float("inf")), "from 0 up"),
        (lambda: DecisionRule("r", D("0.4"), passes_undemonstrated=True), "between 0.5 and 1"),
        (lambda: of_difference(0.1, 0.1, 1.5), "between -1 and 1"),
        (lambda: combined(0.1, -0.1), "from 0 up"),
        (lambda: rectangular(float("nan")), "from 0 up"),
    ],
)
def test_bad_input_is_refused(act, message):
    """Each sentence names what is wrong."""
    with pytest.raises(Problem, match=message):
        act()


def test_propagation_matches_a_closed_form():
    """JCGM 100 5.1.2 on a product: relative uncertainties add in squares."""
    u = propagated(lambda a, b: a * b, [10.0, 4.0], [0.1, 0.02])
    assert u == pytest.approx(40 * (0.01**2 + 0.005**2) ** 0.5, rel=1e-9)


def test_probabilities_are_decided_on_a_grid():
    """Values that differ by less than rounding noise give the same decimal on every machine."""
    assert rounded(0.9499999999, D("0.001")) == rounded(0.9500000001, D("0.001")) == D("0.950")
    assert str(rounded(1 / 3, D("0.001"))) == "0.333"


def test_an_impossible_student_t_is_a_mistake_of_ours():
    """Developer mistakes crash loudly instead of telling the technician."""
    with pytest.raises(ValueError, match="no such Student's t"):
        student_quantile(1.0, 3)
