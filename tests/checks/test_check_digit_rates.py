"""The physics check digit by simulation, small: the bench prints the whole table."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "bench" / "arithmetic"))

from check_digit import measure

pytestmark = pytest.mark.slow("thousands of invented readings")


@pytest.mark.parametrize(
    ("computes", "known", "caught_first", "caught_later"),
    [(False, False, 0.60, 0.85), (True, False, 0.75, 0.85), (True, True, 0.88, 0.88)],
    ids=["measured", "computed, table unknown", "computed, table on the job sheet"],
)
def test_mishearings_are_caught_and_true_readings_left_alone(computes, known, caught_first, caught_later):
    """Single-digit mishearings caught, more once the analyser is learned; under 7 % false alarms."""
    shares = {
        name: hits / chances for name, (hits, chances) in measure(250, computes, analyser_known=known).items()
    }
    assert shares["caught, any digit, first set"] > caught_first
    assert shares["caught, any digit, later sets"] > caught_later
    assert shares["false alarms, first set"] < 0.07
    assert shares["false alarms, later sets"] < 0.07


@pytest.mark.parametrize("computes", [False, True])
def test_equal_alternatives_are_hardly_ever_settled_wrongly(computes):
    """With a true and a misheard value heard equally well, the wrong one is accepted in under 3 % of the cases."""
    shares = {name: hits / chances for name, (hits, chances) in measure(250, computes).items()}
    for place in ("any digit, first set", "any digit, later sets", "sound-alikes, later sets"):
        assert shares[f"equal alternatives: accepted wrong, {place}"] < 0.03
        assert shares[f"equal alternatives: accepted right, {place}"] > 0.40
