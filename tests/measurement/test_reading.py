"""A reading keeps every digit it was given, from mouth to record."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.measurement.reading import Reading, exact, recorded
from handsfree.problem import Problem

D = Decimal


def test_trailing_noughts_are_evidence():
    """9.30 and 9.3 are different readings."""
    fine, coarse = Reading.written("co2", "9.30", "%"), Reading.written("co2", "9.3", "%")
    assert fine != coarse
    assert (fine.resolution, coarse.resolution) == (D("0.01"), D("0.1"))
    assert fine.to_record() == {"quantity": "co2", "value": "9.30", "unit": "%", "resolution": "0.01"}


@given(st.decimals(-9999, 9999, places=3) | st.decimals(0, 9999, places=0) | st.decimals(-99, 99, places=1))
def test_the_record_gives_the_same_reading_back(value):
    """Writing and reading a record loses nothing."""
    reading = Reading.written("flue_temperature", f"{value:f}", "Cel")
    again = recorded(**reading.to_record())
    assert again == reading
    assert again.to_record() == reading.to_record()


def test_a_coarse_display_may_step_by_more_than_one():
    """A display that steps by ten has a resolution of 10, written without decimals."""
    assert Reading("co", D(40), "[ppm]", D(10)).to_record()["resolution"] == "10"


@pytest.mark.parametrize(
    "text", ["", "nine", "9,3", "1e3", "+9.3", "9.", ".5", "NaN", "Infinity", "\uff19.3", " 9.3"]
)
def test_only_plain_digits_are_numbers(text):
    """Exponents, signs of plus, other scripts and blanks are refused."""
    with pytest.raises(Problem, match="is not a plain decimal number"):
        exact(text)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("co2", D("9.3"), "%", D("0.01")), "differ in decimal places"),
        (("co2", D("9.3"), "%", D("0.0")), "must be above 0"),
        (("co2", D("NaN"), "%", D("0.1")), "not finite"),
        (("co2", D("9E+1"), "%", D("1")), "differ in decimal places"),
        (("", D("9.3"), "%", D("0.1")), "names its quantity"),
    ],
)
def test_a_reading_that_contradicts_itself_is_refused(arguments, message):
    """Value and resolution must tell the same story."""
    with pytest.raises(Problem, match=message):
        Reading(*arguments)


@pytest.mark.parametrize("odd", ["value", "resolution"])
def test_a_record_without_a_plain_number_is_refused(odd):
    """The field is named."""
    record = {**Reading.written("o2", "4.4", "%").to_record(), odd: "4e1"}
    with pytest.raises(Problem, match=f"the {odd} is not a plain decimal number: '4e1'"):
        recorded(**record)
