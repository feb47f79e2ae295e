"""Just at the edges of the rule of settling: what is allowed is allowed, a digit more is not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import pytest

from handsfree.measurement.settling import (
    Sample,
    SettleRule,
    judge_settling,
    line_through,
    rising,
    slope_half_width,
)
from handsfree.problem import Problem

D = Decimal
RULE = SettleRule(D("0.15"), D("0.1"), minimum_wait=90)
CO = SettleRule(D(10), D(1), minimum_wait=90)


def read(*values: str, start: float = 90.0, apart: float = 30.0) -> list[Sample]:
    return [Sample(start + apart * number, D(value)) for number, value in enumerate(values)]


def at_times(value: str, *seconds: float) -> list[Sample]:
    return [Sample(second, D(value)) for second in seconds]


# What counts


def test_a_reading_at_the_end_of_the_wait_counts() -> None:
    """The wait is over when its last second has passed."""
    assert judge_settling(at_times("9.3", 90), RULE).reason == "1 of 3 readings after the wait"
    assert judge_settling(at_times("9.3", 89.9), RULE).reason == "89.9 s since the change, 90 s are asked"
    assert judge_settling(at_times("9.3", 90, 120, 150), RULE).count == 3
    assert judge_settling(at_times("9.3", 89.9, 120, 150), RULE).count == 2


def test_a_reading_older_than_twice_the_window_no_longer_counts() -> None:
    """The window is 60 s: of readings up to 320 s those from 200 s on count."""
    assert judge_settling(at_times("9.3", 200, 260, 290, 320), RULE).count == 4
    assert judge_settling(at_times("9.3", 199.9, 260, 290, 320), RULE).count == 3


def test_old_readings_count_where_else_there_would_be_too_few() -> None:
    """Three are asked for, two are fresh: the one before them counts too, and no more."""
    assert judge_settling(at_times("9.3", 100, 200, 500, 530), RULE).count == 3


def test_the_readings_span_the_window_and_need_no_second_more() -> None:
    """60 s are asked for."""
    assert judge_settling(at_times("9.3", 90, 120, 150), RULE).settled
    assert not judge_settling(at_times("9.3", 90, 120, 149.9), RULE).settled


def test_just_the_tolerance_may_still_be_to_come() -> None:
    """Allowed exactly what the readings leave open it is settled; a thousandth of a step less, and it is not."""
    readings = read("9.3", "9.4", "9.3")
    left = judge_settling(readings, RULE).remaining
    assert judge_settling(readings, replace(RULE, tolerance=left)).settled
    assert not judge_settling(readings, replace(RULE, tolerance=left - D("0.0001"))).settled


def test_neither_dead_time_nor_noise_need_be() -> None:
    """A probe without a line, a display without flicker."""
    rule = replace(RULE, dead_time=0, noise=D(0))
    assert judge_settling(read("9.3", "9.3", "9.3"), rule).settled


# What it says


def test_half_width_and_remaining_follow_from_the_slope() -> None:
    """Per minute; what is still to come is slope and half-width over the time constant, either way."""
    for values in (("9.1", "9.2", "9.4"), ("9.4", "9.2", "9.1")):
        readings = read(*values)
        line, answer = line_through(readings), judge_settling(readings, RULE)
        half = slope_half_width(line, RULE)
        assert float(answer.slope) == pytest.approx(60 * line.slope, abs=0.0001)
        assert float(answer.slope_half_width) == pytest.approx(60 * half, abs=0.0001)
        assert float(answer.remaining) == pytest.approx((abs(line.slope) + half) * 40, abs=0.0001)


def test_rising_is_said_of_a_value_that_goes_up_and_has_not_settled() -> None:
    """Not of one that falls, stands, or may be standing."""
    assert judge_settling(read("9.1", "9.3", "9.5", "9.7"), RULE).rising
    assert not judge_settling(read("9.7", "9.5", "9.3", "9.1"), RULE).rising
    assert not judge_settling(read("9.3", "9.3", "9.3"), RULE).rising
    assert not judge_settling(read("9.0", "9.6", "9.1"), RULE).rising
    wide = replace(RULE, tolerance=D(5))
    assert judge_settling(read("9.1", "9.3", "9.5", "9.7"), wide).settled
    assert not judge_settling(read("9.1", "9.3", "9.5", "9.7"), wide).rising


def test_one_reading_has_no_slope_and_two_at_once_have_one() -> None:
    """Half a second apart is apart."""
    alone, close = judge_settling(at_times("9.3", 200), RULE), judge_settling(at_times("9.3", 200, 200.5), RULE)
    assert (alone.slope, alone.remaining.is_finite()) == (0, False)
    assert (close.slope, close.remaining.is_finite()) == (0, True)


@pytest.mark.parametrize(
    ("act", "message"),
    [
        (lambda: replace(RULE, tolerance=D("Infinity")), "are above 0"),
        (lambda: replace(RULE, time_constant=math.inf), "are above 0"),
        (lambda: replace(RULE, window=0), "are above 0"),
        (lambda: replace(RULE, noise=D("-0.1")), "are not negative"),
        (lambda: replace(RULE, dead_time=-0.1), "are not negative"),
        (lambda: line_through([]), "two different times"),
    ],
)
def test_what_cannot_be_is_refused(act: Callable[[], object], message: str) -> None:
    """With a sentence."""
    with pytest.raises(Problem, match=message):
        act()


def test_the_mean_is_that_of_the_newest_readings() -> None:
    """As many as the rule asks for; before the wait is over, the newest one."""
    assert judge_settling(read("9.0", "9.2", "9.3", "9.4", "9.5"), RULE).mean == D("9.4")
    assert judge_settling(read("9.2", "9.3", "9.5", start=10, apart=10), RULE).mean == D("9.5")
    four = replace(RULE, minimum_samples=4)
    assert judge_settling(read("9.0", "9.2", "9.3", "9.4", "9.5"), four).mean == D("9.35")


# The forecast


def test_a_moving_value_is_due_when_it_comes_within_half_the_tolerance() -> None:
    """1.5 below its end, three digits, time constant 100 s: within 0.075 of it 100 ln 20 s after 10 s."""
    rule = replace(RULE, resolution=D("0.001"), time_constant=100)
    readings = [Sample(t, D(f"{9.3 - 1.5 * math.exp(-(t - 10) / 100):.3f}")) for t in range(20, 131, 10)]
    due = 10 + 100 * math.log(1.5 / 0.075) - 130
    assert float(judge_settling(readings, rule).forecast_seconds) == pytest.approx(due, abs=3)


@pytest.mark.parametrize(
    ("seconds", "due"),
    [
        ((90, 120), 30),  # 30 s of the window are lacking
        ((90, 100), 50),
        ((100,), 60),
        ((40,), 110),  # 50 s to the end of the wait, then the window
        ((90, 119), 31),
        ((90, 149), 30),  # a second is lacking, and sets come half a minute apart
    ],
)
def test_a_steady_value_is_due_when_the_rule_can_first_be_met(seconds: tuple[float, ...], due: int) -> None:
    """What is left of the wait and what is left of the window, at least the time to one more reading."""
    assert judge_settling(at_times("9.3", *seconds), RULE).forecast_seconds == due


def test_one_more_reading_is_the_least_that_is_forecast() -> None:
    """Wait and window are met, the scatter is not: the window over the readings it takes, less one."""
    readings = read("9.2", "9.4", "9.3", "9.2", "9.4", "9.3", "9.2", "9.4")
    tight = replace(RULE, tolerance=D("0.05"))
    assert judge_settling(readings, tight).forecast_seconds == 30
    assert judge_settling(readings, replace(tight, minimum_samples=4)).forecast_seconds == 20


def test_what_is_read_within_the_dead_time_forecasts_nothing() -> None:
    """Three readings from its end on give a forecast; one of them a moment earlier, and two are left."""
    assert judge_settling(at_times("9.3", 10, 25, 40), RULE).forecast_value == D("9.3")
    assert judge_settling(at_times("9.3", 9.9, 25, 40), RULE).forecast_value is None


def test_the_forecast_of_a_steady_value_is_as_sure_as_the_display() -> None:
    """More flicker, less sure: the half-width grows with the noise that the rule names."""
    readings = read("9.3", "9.3", "9.3", "9.3")
    calm, loud = (judge_settling(readings, replace(RULE, noise=D(noise))) for noise in ("0", "0.2"))
    assert calm.forecast_half_width is not None
    assert loud.forecast_half_width is not None
    assert 0 < calm.forecast_half_width < loud.forecast_half_width / 2


# Rising


def test_a_rise_of_just_the_tolerance_in_a_time_constant_is_not_fast() -> None:
    """40 ppm in 40 s with a time constant of 40 s."""
    readings = at_times("100", 200) + at_times("140", 240)
    assert not rising(readings, replace(CO, tolerance=D(40)))
    assert rising(readings, replace(CO, tolerance=D("39.999")))


def test_a_rise_within_the_flicker_of_the_display_is_none() -> None:
    """40 ppm in 40 s; noise of 25 ppm hides it, noise of 60 all the more."""
    readings = at_times("100", 200) + at_times("140", 240)
    assert rising(readings, CO)
    assert not rising(readings, replace(CO, noise=D(25)))
    assert not rising(readings, replace(CO, noise=D(60)))


def as_uncertain_as_steep(readings: list[Sample], rule: SettleRule) -> SettleRule:
    """Return the rule with so much noise that the slope is just its half-width, found by halving."""
    line, low, high = line_through(readings), 0.0, 1000.0
    for _ in range(100):
        middle = (low + high) / 2
        wide = slope_half_width(line, replace(rule, noise=D(repr(middle)))) > line.slope
        low, high = (low, middle) if wide else (middle, high)
    return replace(rule, noise=D(repr(low)))


def test_a_slope_of_just_its_half_width_is_no_rise() -> None:
    """It may be none at all."""
    readings = at_times("100", 200) + at_times("140", 240)
    edge = as_uncertain_as_steep(readings, CO)
    assert not rising(readings, edge)
    assert rising(readings, replace(edge, noise=edge.noise * D("0.99")))
    answer = judge_settling(readings, edge)
    assert answer.slope == answer.slope_half_width
    assert not answer.rising


def test_a_slow_rise_takes_more_readings_than_the_rule_asks_for() -> None:
    """12 ppm a minute is 8 in a time constant, under the 10 allowed; four readings tell that it goes on."""
    slow = read("100", "112", "124", "136", start=200, apart=60)
    assert not rising(slow[:3], CO)
    assert rising(slow, CO)


def test_a_slow_rise_that_has_slowed_to_half_the_tolerance_in_a_window_is_over() -> None:
    """12 ppm in the window of 60 s: rising while less than 24 is allowed."""
    slow = read("100", "112", "124", "136", start=200, apart=60)
    assert not rising(slow, replace(CO, tolerance=D(24)))
    assert rising(slow, replace(CO, tolerance=D("23.99")))


def test_a_slow_rise_no_larger_than_the_tolerance_is_none() -> None:
    """4 ppm a minute over three minutes is 12, less what the display hides: no more than 12, more than 10."""
    slow = read("100", "104", "108", "112", "116", "120", "124", "128", start=200, apart=60)
    assert not rising(slow[:4], replace(CO, tolerance=D(12), window=200))
    assert rising(slow[:4], replace(CO, tolerance=D(10), window=200))


def test_readings_at_one_time_do_not_rise() -> None:
    """There is no slope."""
    assert not rising([*at_times("100", 200), *at_times("140", 200)], CO)
    assert not rising([], CO)


def test_a_slope_is_never_surer_than_the_steps_of_the_display_allow() -> None:
    """The difference of two rounded readings errs by h steps at most, 9 times of 10: 1 - (1 - h)^2 = 0.9.

    The density of that error is triangular over one step to each side (JCGM 100:2008, 4.3.9), so h = 0.684.
    """
    steady = line_through(at_times("9.3", 90, 110, 130, 150))
    hidden = slope_half_width(steady, RULE) * 60 / 0.1
    assert 1 - (1 - hidden) ** 2 == pytest.approx(0.9)
