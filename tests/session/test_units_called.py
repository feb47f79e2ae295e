"""Values are called as the instrument shows them: in its unit, or in one that is spoken, and recorded as called.

The conversions are checked against NIST SP 811 (2008), appendix B.8: inch of water (conventional) 2.490 889 E+02
Pa, pound-force per square inch 6.894 757 E+03 Pa, cubic foot 2.831 685 E-02 m3, t/Cel = (t/degF - 32)/1.8.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsed import at, of_kind, places, plan_with, say, sheets, spoken, twin, with_appliance, with_job

from handsfree.events import decisions as ev
from handsfree.glance.notes import Notes
from handsfree.glance.view import glance
from handsfree.measurement.reading import Reading
from handsfree.problem import Problem
from handsfree.questions.put_back import PutBack
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.sheets import Instrument, MakerBand, Sheets


def accepted(events: tuple[ev.Decision, ...]) -> dict[str, ev.ReadingRecord]:
    return {one.reading.quantity: one.reading for one in of_kind(events, ev.ReadingAccepted)}


SPOKEN = [
    (
        "standing-pressure",
        "seven point zero inches",
        "7.0",
        "[in_i'H2O]",
        "17.436",
        "seven point zero inches water",
    ),
    ("standing-pressure", "two one five zero pascals", "2150", "Pa", "21.50", "two one five zero pascals"),
    ("standing-pressure", "zero point three one p s i", "0.31", "[psi]", "21.374", "zero point three one p s i"),
    ("water-pressure", "two two p s i", "22", "[psi]", "1.51685", "two two p s i"),
    (
        "set-point-as-found",
        "one three one fahrenheit",
        "131",
        "[degF]",
        "55.000",
        "one three one degrees Fahrenheit",
    ),
]


@pytest.mark.parametrize(
    ("gate", "words", "called", "unit", "converted", "said"), SPOKEN, ids=[one[1] for one in SPOKEN]
)
def test_a_spoken_unit_is_recorded_as_called_with_its_conversion_beside_it(
    gate: str, words: str, called: str, unit: str, converted: str, said: str
) -> None:
    """Read back in the unit that was called; kept in the quantity's own, to the digits of NIST SP 811."""
    visit = at(gate)
    (read,) = spoken(visit.say(words))
    assert read.lower() == f"{said.lower()}."
    (record,) = accepted(visit.say("confirmed")).values()
    assert (record.called, record.called_unit) == (called, unit)
    assert round(Decimal(record.value), len(converted.partition(".")[2])) == Decimal(converted)


def test_three_point_five_inches() -> None:
    """3.5 in of water are exactly 3.5 x 2.490 889 1 mbar."""
    visit = at("working-pressure")
    say(visit, "three point five inches", "confirmed", "maximum")
    (taken,) = visit.state.readings("working")
    assert taken.values["working_pressure"].value == "8.71811185"
    assert taken.values["working_pressure"].resolution == "0.24908891"


def showing(gate: str, *, sheets: Sheets) -> Rehearsal:
    """Return a visit of other sheets that stands where one of the demo's does."""
    visit = twin(at(gate))
    visit.plan = plan_with(sheets)
    return visit


def american() -> Sheets:
    """Return the demo's sheets with an analyser in Fahrenheit, a manometer in inches, a meter in cubic feet."""
    job = sheets().job
    analyser = job.instrument.model_copy(update={"shows": {"Cel": "[degF]"}})
    manometer = Instrument.model_validate(
        {
            "name": "Manometer",
            "serial": "M1",
            "calibrated_until": job.instrument.calibrated_until,
            "shows": {"mbar": "[in_i'H2O]", "bar": "[psi]"},
        }
    )
    assert job.meter is not None
    meter = job.meter.model_copy(update={"unit": "[cft_i]", "heating_value": Decimal(1020)})
    return with_job(instrument=analyser, instruments=(manometer,), meter=meter)


def test_a_bare_number_is_in_the_unit_that_the_instrument_shows() -> None:
    """Nobody says the unit that stands on the display; the screen and the keys have it too."""
    visit = showing("standing-pressure", sheets=american())
    assert [one.unit for one in glance(visit.plan, visit.state, visit.state.now, Notes()).values] == ["in w.c."]
    say(visit, "seven point zero")
    assert [one.value for one in glance(visit.plan, visit.state, visit.state.now, Notes()).values] == ["7.0"]
    (record,) = accepted(visit.say("confirmed")).values()
    assert (record.called, record.called_unit, record.value) == ("7.0", "[in_i'H2O]", "17.43622370")
    visit = showing("standing-pressure", sheets=american())
    (record,) = accepted(say(visit, "two one point five millibar", "confirmed")).values()
    assert (record.called, record.value) == ("", "21.5")


def test_a_row_in_fahrenheit() -> None:
    """136, 66, 144 and 106 degrees Fahrenheit at flue, air, flow and return."""
    visit = showing("found-maximum-temperatures", sheets=american())
    taken = accepted(
        say(
            visit, "one hundred and thirty six", "sixty six", "return one zero six flow one four four", "confirmed"
        )
    )
    assert [one.called for one in taken.values()] == ["136", "66", "144", "106"]
    exact = {name: Fraction(int(one.called) - 32) * 5 / 9 for name, one in taken.items()}
    assert all(abs(Fraction(taken[name].value) - value) < Fraction(1, 10**14) for name, value in exact.items())


def test_limits_are_judged_by_the_exact_conversion() -> None:
    """194 degrees Fahrenheit are exactly the maker's 90 Celsius: not above it; 195 are."""
    for words, stopped in (("flue one nine four", False), ("flue one nine five", True)):
        visit = showing("found-maximum-temperatures", sheets=american())
        say(visit, words, "confirmed")
        assert (visit.state.status == "stopped") == stopped


def test_the_makers_range_is_judged_so_too() -> None:
    """1.5 bar are 21.76 psi (NIST SP 811): 21 is within, 22 is asked about in the unit called."""
    others = with_appliance(water_pressure=MakerBand(low=Decimal("0.8"), high=Decimal("1.5"), page=12))
    visit = showing("water-pressure", sheets=others)
    assert accepted(say(visit, "two one p s i", "confirmed"))
    visit = showing("water-pressure", sheets=others)
    (asked,) = spoken(say(visit, "two two p s i", "confirmed"))
    assert asked == "Outside the maker's range: water pressure two two p s i. Keep it?"


def test_a_meter_in_cubic_feet_is_timed_by_the_shipped_gate() -> None:
    """Two cubic feet are 0.056 633 693 184 m3; the input is worked out from that and Btu per cubic foot."""
    gate = "input-found/time-the-meter"
    visit = showing(gate, sheets=american())
    assert spoken(visit.say("two")) == ["Two cubic feet."]
    assert spoken(visit.say("confirmed")) == ["Mark at the pointer."]
    assert spoken(visit.say("mark")) == ["Mark after two cubic feet."]
    visit.wait(88)
    visit.say("mark")
    (taken,) = visit.state.readings("input-found")
    volume = taken.values["gas_volume_metric"]
    assert (volume.value, volume.called, volume.called_unit) == ("0.056633693184", "2", "[cft_i]")
    say(visit, "other appliances back on", "back on", "confirmed")
    verdict = of_kind(visit.events, ev.VerdictGiven)[-1]
    assert verdict.calculation == "gas-input"
    assert Decimal(20) < Decimal(verdict.numbers["kilowatt"]) < Decimal(28)


def put_back() -> Rehearsal:
    """Return the visit as the set point is asked to be put back."""
    before = PutBack(thing="outdoor-reset")
    visit = twin(next(one for one in places().values() if one.state.question == before))
    say(visit, "one point five", "confirmed")
    assert visit.state.question == PutBack(thing="set-point")
    return visit


def test_a_setting_put_back_in_another_unit_is_the_same_setting() -> None:
    """Found at 55 Celsius: 131 Fahrenheit are exactly that and are read back as called; 132 are refused."""
    visit = put_back()
    assert visit.state.found["set-point"].value == "55"
    assert spoken(visit.say("one three two fahrenheit"))[0] == "Found at five five. Put it back."
    assert "one three one degrees Fahrenheit" in spoken(visit.say("one three one fahrenheit"))[0]
    (restored,) = of_kind(visit.say("confirmed"), ev.Restored)
    assert restored.reading is not None
    assert (restored.reading.called, restored.reading.called_unit) == ("131", "[degF]")
    assert Decimal(restored.reading.value) == 55


def test_a_second_call_in_the_same_unit_confirms() -> None:
    """Fifteen pascals and fifty sound alike: digit by digit, the unit said."""
    visit = at("standing-pressure")
    say(visit, "two thousand and fifteen pascals", "confirmed")
    assert visit.state.question.kind == "digits"
    (record,) = accepted(visit.say("two zero one five pascals")).values()
    assert (record.called, record.called_unit) == ("2015", "Pa")


@given(st.integers(-20, 400), st.sampled_from(["[degF]"]))
def test_a_conversion_there_and_back_is_the_number_called(number: int, unit: str) -> None:
    """To the last place kept."""
    reading = Reading.converted("flue_temperature", Decimal(number), unit, "Cel")
    back = Fraction(reading.value) * 9 / 5 + 32
    assert abs(back - number) < Fraction(1, 10**13)
    assert reading.value.as_tuple().exponent == reading.resolution.as_tuple().exponent


def test_an_instrument_cannot_show_another_kind_of_unit() -> None:
    """A manometer that shows degrees is a mistake of the sheet."""
    with pytest.raises(ValueError, match="measure different things"):
        Instrument.model_validate(
            {"name": "M", "serial": "1", "calibrated_until": "2027-06-30", "shows": {"mbar": "Cel"}}
        )


def test_a_unit_that_no_quantity_has_is_refused_before_the_visit() -> None:
    """Bars of mercury: known as a unit, and shown for no quantity of the trade."""
    analyser = sheets().job.instrument.model_copy(update={"shows": {"mbar": "m[Hg]"}})
    with pytest.raises(Problem, match="m\\[Hg\\]"):
        plan_with(with_job(instrument=analyser))
