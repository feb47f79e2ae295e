"""How sets are judged: which samples count, how much each quantity may still move, what the record then says.

The slopes come from Python's `statistics.linear_regression`, the uncertainty from the GUM (JCGM 100:2008,
4.3.7). What a quantity may still move is common practice, no source.
"""

from __future__ import annotations

import copy
import math
import statistics
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from rehearsed import at, of_kind, places, plan_with, shipped, with_appliance

from handsfree.events import decisions as ev
from handsfree.gates.block import Settle
from handsfree.gates.readings import ReadingsGate
from handsfree.gates.visit import SettlingJudgement
from handsfree.session import settling
from handsfree.session.apply import apply
from handsfree.session.settling import judge_sets

GATE = "found-maximum"
WAIT = 180
"""Seconds that the procedure and the invented maker ask for after a change."""


def gate(**other: Any) -> ReadingsGate:
    found = shipped().gate(GATE).gate
    assert isinstance(found, ReadingsGate)
    return found.model_copy(update=other)


def settle_of(gate: ReadingsGate) -> Settle:
    assert gate.settle is not None
    return gate.settle


def state_with(*sets: dict[str, str], apart: int = 30, first: int = WAIT) -> Any:
    """Return the state after sets, the first so many seconds after the last change, the others so far apart."""
    visit = at(GATE)
    state = replace(visit.state, sets={}, last_change=1_000_000)
    for number, values in enumerate(sets, start=1):
        moment = 1_000_000 + 1000 * (first + apart * (number - 1))
        for quantity, value in values.items():
            reading = ev.ReadingRecord(**shipped().reading(quantity, Decimal(value)).to_record())
            accepted = ev.ReadingAccepted(
                at=moment, gate=GATE, kept_at=GATE, number=number, reading=reading, how="affirmed"
            )
            state = apply(shipped(), state, accepted)
        state = apply(shipped(), state, ev.SetTaken(at=moment, kept_at=GATE, number=number))
    return state


def judged(quantity: str, *values: str, **times: int) -> SettlingJudgement:
    state = state_with(*({quantity: value} for value in values), **times)
    (only,) = judge_sets(shipped(), state, GATE, settle_of(gate()))
    assert only.event.quantity == only.settled.reading.quantity == quantity
    assert only.event.kept_at == only.settled.kept_at == GATE
    return only


@pytest.mark.parametrize(
    ("quantity", "value", "allowed"),
    [
        ("co2", "9.3", "0.15"),
        ("o2", "4.4", "0.20"),
        ("flue_temperature", "52", "4"),
        ("air_temperature", "19", "2"),
        ("flow_temperature", "60", "4"),
        ("return_temperature", "40", "4"),
        ("working_pressure", "18.6", "0.5"),
        ("co", "20", "6"),
        ("co", "60", "6"),
        ("co", "70", "7.00"),
        ("co", "350", "35.00"),
        ("water_pressure", "1.5", "0.4"),
        ("fan_speed", "3200", "4"),
    ],
)
def test_what_may_still_be_to_come(quantity: str, value: str, allowed: str) -> None:
    """By quantity; CO by its value, at least 6 ppm; any other quantity four steps of its display."""
    found = judged(quantity, value, value, value, apart=300).event
    assert found.settled
    assert found.reason.endswith(f" still to come, {allowed} allowed")


def test_the_newest_co_says_how_much_co_may_move() -> None:
    """From 130 down to 100: a tenth of 100."""
    assert judged("co", "130", "110", "100").event.reason.endswith("more than 10.00")


def test_the_slope_is_per_minute_and_its_event_says_so() -> None:
    """CO2 that rises as it is called, by a line fitted elsewhere."""
    values = ("9.1", "9.2", "9.2", "9.4")
    found = judged("co2", *values, apart=30).event
    minutes = [number * 30 / 60 for number in range(4)]
    fitted = statistics.linear_regression(minutes, [float(value) for value in values])
    assert float(found.slope) == pytest.approx(fitted.slope, abs=0.00005)
    assert float(found.slope_half_width) > 0
    assert float(found.remaining) > 0
    assert not found.settled


def test_the_settled_value_has_one_more_digit_than_the_display() -> None:
    """The mean of 9.3, 9.4 and 9.3 is 9.33; of 18, 18 and 19 it is 18.3."""
    assert judged("co2", "9.3", "9.4", "9.3").settled.reading.value == "9.33"
    reading = judged("co", "18", "18", "19").settled.reading
    assert (reading.value, reading.unit, reading.resolution) == ("18.3", "[ppm]", "0.1")


def test_the_newest_call_says_how_many_digits_the_settled_value_has() -> None:
    """One more than it."""
    assert judged("co2", "9.3", "9.3", "9.30").settled.reading.value == "9.300"
    assert judged("co2", "9.30", "9.30", "9.3").settled.reading.value == "9.30"


def test_the_longer_of_both_waits_counts_to_the_second() -> None:
    """The maker's twenty minutes; where the maker gives none, the procedure's three."""
    settle = gate().settle
    assert settle is not None
    long, none = (plan_with(with_appliance(wait_after_change_seconds=wait)) for wait in (1200, None))
    assert (settling.settle_seconds(long, settle), settling.settle_seconds(none, settle)) == (1200, WAIT)
    state = state_with(*[{"co2": "9.3"}] * 3, first=940)
    (only,) = judge_sets(long, state, GATE, settle)
    assert only.event.reason == "1000 s since the change, 1200 s are asked"


def test_the_uncertainty_of_settling_is_that_of_what_may_still_come() -> None:
    """All moves up to it are equally likely: its half-width by the root of three (GUM 4.3.7)."""
    found = judged("co2", "9.3", "9.3", "9.3", apart=60)
    assert found.event.settled
    expected = float(found.event.remaining) / math.sqrt(3)
    assert expected > 0
    assert float(found.settled.uncertainty) == pytest.approx(expected, abs=0.0001)


def test_the_coarsest_display_counts() -> None:
    """9.30, 9.3, 9.3: what a step of 0.1 hides, the two digits of one call do not show."""
    mixed, coarse = judged("co2", "9.30", "9.3", "9.3").event, judged("co2", "9.3", "9.3", "9.3").event
    assert mixed.remaining == coarse.remaining
    assert judged("co2", "9.30", "9.30", "9.30").event.remaining != coarse.remaining


def test_three_sets_in_a_minute_less_a_tenth_are_enough() -> None:
    """Half a minute apart is asked for; three seconds early still counts, four do not."""
    assert judged("co2", "9.3", "9.3", "9.3", apart=27).event.settled
    short = judged("co2", "9.3", "9.3", "9.3", apart=26).event
    assert not short.settled
    assert short.reason == "the readings span 52 s, 54 s are asked"


def test_sets_called_before_the_wait_is_over_do_not_count() -> None:
    """The wait runs from the last change, and nothing is known of where the value is heading."""
    found = judged("co2", "9.3", "9.3", "9.3", first=20).event
    assert found.reason == "80 s since the change, 180 s are asked"
    assert (found.settled, found.slope_half_width, found.remaining) == (False, "unknown", "unknown")
    assert found.forecast_seconds != "0"
    assert judged("co2", "9.3", "9.3", "9.3", first=20).settled.uncertainty == "0.0000"
    assert judged("co2", "9.3", "9.3", "9.3", first=WAIT).event.settled
    assert not judged("co2", "9.3", "9.3", "9.3", first=WAIT - 1).event.settled


def test_a_quantity_missing_in_a_set_is_not_judged() -> None:
    """Three sets, and CO in two of them: CO waits for another."""
    whole, without = {"co2": "9.3", "co": "18"}, {"co2": "9.3"}
    names = {
        one.event.quantity
        for one in judge_sets(shipped(), state_with(whole, without, whole), GATE, settle_of(gate()))
    }
    assert names == {"co2"}


def test_a_whole_visits_settled_places_say_what_was_called_there() -> None:
    """The mean of the last three sets, for each quantity of each place that settled."""
    visit = places()["", "end"]
    assert of_kind(visit.events, ev.ValueSettled)
    for place, quantities in visit.state.settled.items():
        for quantity, settled in quantities.items():
            last = [Decimal(one.values[quantity].value) for one in visit.state.readings(place)[-3:]]
            step = Decimal(settled.reading.resolution)
            assert abs(Decimal(settled.reading.value) - statistics.mean(last)) <= step / 2


# Rising CO


def rising_stop(*values: str, **other: Any) -> str | None:
    apart = other.pop("apart", 30)
    state = state_with(*({"co": value} for value in values), apart=apart)
    stop = settling.rising_stop(shipped(), state, GATE, settle_of(gate(**other)))
    return None if stop is None else stop.name


def test_co_that_rises_from_a_hundred_on_opens_its_stop() -> None:
    """Trade journal: 100 to 400 ppm and rising, shut down. Two sets tell when the step is plain."""
    assert rising_stop("80", "140") == "rising-co"
    assert rising_stop("60", "90", "130") == "rising-co"


@pytest.mark.parametrize(
    "values", [("140",), ("140", "140"), ("140", "80"), ("140", "141", "140"), ("20", "60"), ("140", "100", "99")]
)
def test_co_that_is_steady_falls_or_is_low_opens_none(values: tuple[str, ...]) -> None:
    """One set says nothing of a rise."""
    assert rising_stop(*values) is None


def test_sets_without_co_open_none() -> None:
    """Nothing that could rise was read."""
    state = state_with({"co2": "9.3"}, {"co2": "9.3"})
    assert settling.rising_stop(shipped(), state, GATE, settle_of(gate())) is None


def test_the_stop_names_the_newest_value_and_the_limit() -> None:
    """As the record and the supervisor need it."""
    state = state_with({"co": "80", "co2": "9.3"}, {"co": "140", "co2": "9.3"})
    stop = settling.rising_stop(shipped(), state, GATE, settle_of(gate()))
    assert stop is not None
    assert (stop.name, stop.value, stop.limit) == ("rising-co", "140 [ppm]", "at or above 100 [ppm]")


def test_of_several_stops_the_first_is_told() -> None:
    """450 ppm as measured is over the 400 air-free of everybody too, which needs no rise."""
    assert rising_stop("300", "450") == "air-free-co"


def test_a_display_without_a_number_in_the_newest_set_opens_none() -> None:
    """What rose before it is not known to rise on."""
    state = state_with({"co": "80"}, {"co": "140"})
    dashes = ev.ReadingRecord(quantity="co", value="no reading", unit="[ppm]", resolution="1")
    moment = state.last_change + 1000 * (WAIT + 60)
    taken = (
        ev.ReadingAccepted(at=moment, gate=GATE, kept_at=GATE, number=3, reading=dashes, how="affirmed"),
        ev.SetTaken(at=moment, kept_at=GATE, number=3),
    )
    for event in taken:
        state = apply(shipped(), state, event)
    assert settling.rising_stop(shipped(), state, GATE, settle_of(gate())) is None


def test_the_coarsest_display_tells_a_slow_rise_too() -> None:
    """95 to 106 ppm in a minute and a half: by tenths it is plain, and whole steps hide as much as is allowed."""
    assert rising_stop("95.0", "98.0", "102.0", "106.0") == "rising-co"
    assert rising_stop("95.0", "98", "102", "106.0") is None


def test_a_quantity_that_was_not_read_hides_no_rise_of_another() -> None:
    """A trade may watch two; of the room's CO nothing was called here."""
    plan = copy.copy(shipped())
    watched = replace(plan.trade.stops, rising=("ambient_co", "co"))
    vars(plan)["trade"] = replace(plan.trade, stops=watched)
    stop = settling.rising_stop(plan, state_with({"co": "80"}, {"co": "140"}), GATE, settle_of(gate()))
    assert stop is not None
    assert stop.name == "rising-co"
