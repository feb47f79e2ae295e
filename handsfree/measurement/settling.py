"""Whether a value has stopped moving, where it is heading, and how long that takes.

The rule is a test of equivalence (two one-sided tests at 5 %, so a 90 % interval), not of significance: a
value is settled when the move still to come is shown to be no larger than a tolerance. For a first-order
response that move is the present slope times the time constant. The slope comes from least squares; its
half-width never falls below what a row of equal readings hides: two display errors, each anywhere within a
step, leave 68 % of a step over the time watched at 90 % (their difference has a triangular density).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from handsfree.measurement.distributions import rounded, student_quantile
from handsfree.measurement.response import Approach, approach_of
from handsfree.measurement.uncertainty import combined, of_resolution, rectangular
from handsfree.problem import Problem

LEAST_WAIT = 90.0
"""Seconds after a change before any reading counts: common practice; makers ask three to five minutes."""

_COVERAGE = 0.90
_HIDDEN_BY_STEPS = 1 - math.sqrt(1 - _COVERAGE)
"""Share of a display step that the difference of two rounded readings hides, triangular density."""

_KNOWN_NOISE_WORTH = 8
"""The display's own noise counts as this many degrees of freedom, so that three readings can decide."""


@dataclass(frozen=True)
class Sample:
    """A value and when it was read, in seconds since the last change (adjuster, rate, cover, probe)."""

    seconds: float
    value: Decimal

    def __post_init__(self) -> None:
        if not math.isfinite(float(self.seconds)) or not self.value.is_finite():
            raise Problem(f"a sample is two numbers, not {self.seconds} s and {self.value}")


@dataclass(frozen=True)
class SettleRule:
    """When a value counts as settled; seconds throughout, tolerance and resolution in the value's unit."""

    tolerance: Decimal
    """The move still to come that may be left."""
    resolution: Decimal
    """The step of the display."""
    minimum_wait: float = 180.0
    window: float = 60.0
    """The counted readings must span at least this; readings older than twice this no longer count."""
    minimum_samples: int = 3
    time_constant: float = 40.0
    """Of the slowest part; 90 % response time / 2.303, so 40 s is a cell with 90 s."""
    noise: Decimal = Decimal(0)
    """Standard deviation of the display's flicker beside its resolution."""
    dead_time: float = 10.0
    """Nothing of a change is seen before this (sample line and cell)."""

    def __post_init__(self) -> None:
        positive = (self.tolerance, self.resolution, self.window, self.time_constant)
        if not all(math.isfinite(float(number)) and number > 0 for number in positive):
            raise Problem("tolerance, resolution, window and time constant of a settle rule are above 0")
        if not self.minimum_wait >= LEAST_WAIT:
            raise Problem(f"a settle rule waits at least {LEAST_WAIT:g} s, not {self.minimum_wait:g}")
        if self.minimum_samples < 3:
            raise Problem(f"a settle rule needs at least 3 samples, not {self.minimum_samples}")
        if self.noise < 0 or self.dead_time < 0:
            raise Problem("noise and dead time of a settle rule are not negative")


@dataclass(frozen=True)
class FittedLine:
    """A least-squares line through samples: plain statistics, slope per second."""

    mean: float
    slope: float
    residual_squares: float
    time_squares: float
    count: int
    span: float

    @property
    def half_width(self) -> float:
        """Half-width of the slope's 95 % interval from the residuals alone; infinite under three samples."""
        if self.count < 3:
            return math.inf
        deviation = math.sqrt(self.residual_squares / (self.count - 2))
        return student_quantile(0.95, self.count - 2) * deviation / math.sqrt(self.time_squares)


@dataclass(frozen=True)
class Settling:
    """The answer, with the numbers it came from; slopes per minute, all rounded before they decide."""

    settled: bool
    reason: str
    count: int
    """Readings that counted."""
    mean: Decimal
    """Of the newest readings, as many as the rule asks for: an approach before them does not pull it."""
    slope: Decimal
    slope_half_width: Decimal
    remaining: Decimal
    """The largest move still to come that the readings allow."""
    rising: bool
    """The slope is upward beyond its half-width and the value is not yet settled."""
    forecast_value: Decimal | None
    forecast_half_width: Decimal | None
    forecast_seconds: Decimal
    """From the last sample until the rule can first be met."""

    @property
    def standard_uncertainty(self) -> float:
        """Return what not being wholly settled adds to the uncertainty of the mean."""
        return rectangular(float(self.remaining)) if self.remaining.is_finite() else math.inf


def line_through(samples: Sequence[Sample]) -> FittedLine:
    """Return the least-squares line; two samples at the same instant count as two, all at one is a Problem."""
    times = [float(sample.seconds) for sample in samples]
    values = [float(sample.value) for sample in samples]
    count = len(samples)
    if len(set(times)) < 2:
        raise Problem("a slope needs readings at two different times")
    middle, mean = sum(times) / count, sum(values) / count
    squares = sum((t - middle) ** 2 for t in times)
    slope = sum((t - middle) * (v - mean) for t, v in zip(times, values, strict=True)) / squares
    residual = sum((v - mean - slope * (t - middle)) ** 2 for t, v in zip(times, values, strict=True))
    return FittedLine(mean, slope, residual, squares, count, max(times) - min(times))


def slope_half_width(line: FittedLine, rule: SettleRule) -> float:
    """Return the half-width used to decide, per second, 90 %: pooled noise, and at least what the steps hide.

    The scatter of the readings is pooled with the display's known noise (resolution and flicker) by degrees
    of freedom, then Student's t.
    """
    known = combined(of_resolution(float(rule.resolution)), float(rule.noise))
    freedom = _KNOWN_NOISE_WORTH + line.count - 2
    deviation = math.sqrt((_KNOWN_NOISE_WORTH * known**2 + line.residual_squares) / freedom)
    scatter = student_quantile(_COVERAGE, freedom) * deviation / math.sqrt(line.time_squares)
    return max(scatter, _HIDDEN_BY_STEPS * float(rule.resolution) / line.span)


def rising(samples: Sequence[Sample], rule: SettleRule) -> bool:
    """Say whether the values rise and are not levelling off: fast, or slowly and for long.

    Fast: the newest readings (within twice the window; two can tell when the step is plain) rise beyond their
    half-width, by more than the tolerance in a time constant. Slowly: all readings since the change rise beyond
    their half-width by more than the tolerance, and the newest still by half of it in a window. The minimum
    wait is not asked for: a rise may interrupt it.
    """
    ordered = _ordered(samples)
    recent = _recent(ordered, rule)
    if _span(recent) == 0:
        return False
    newest, whole = line_through(recent), line_through(ordered)
    fast = _certain_rise(newest, rule) > 0 and _rise(newest.slope, rule.time_constant, rule) > rule.tolerance
    slowly = (
        whole.count > rule.minimum_samples
        and rounded(float(_certain_rise(whole, rule)) * whole.span, _step(rule)) > rule.tolerance
        and _rise(newest.slope, rule.window, rule) > rule.tolerance / 2
    )
    return fast or slowly


def _certain_rise(line: FittedLine, rule: SettleRule) -> Decimal:
    """Return the least slope per second that the readings allow, on a fine grid."""
    return rounded(line.slope - slope_half_width(line, rule), _step(rule) / 1000)


def _rise(slope: float, seconds: float, rule: SettleRule) -> Decimal:
    return rounded(slope * seconds, _step(rule))


def judge_settling(samples: Sequence[Sample], rule: SettleRule) -> Settling:
    """Say whether the samples have settled by the rule; samples in any order, none is a Problem."""
    if not samples:
        raise Problem("no readings to judge")
    ordered, step = _ordered(samples), _step(rule)
    counted = _recent([s for s in ordered if float(s.seconds) >= rule.minimum_wait], rule)
    newest = counted[-rule.minimum_samples :] or ordered[-1:]
    slope, half_width, remaining = Decimal(0), Decimal("Infinity"), Decimal("Infinity")
    if _span(counted) > 0:
        line = line_through(counted)
        half = slope_half_width(line, rule)
        slope, half_width = rounded(60 * line.slope, step), rounded(60 * half, step)
        remaining = rounded((abs(line.slope) + half) * rule.time_constant, step)
    obstacle = _obstacle(rule, float(ordered[-1].seconds), counted, remaining)
    approach = approach_of(
        [(float(s.seconds), float(s.value)) for s in ordered if float(s.seconds) >= rule.dead_time],
        rule.time_constant,
        combined(of_resolution(float(rule.resolution)), float(rule.noise)),
    )
    return Settling(
        settled=obstacle is None,
        reason=obstacle or f"at most {remaining} still to come, {rule.tolerance} allowed",
        count=len(counted),
        mean=rounded(sum(float(s.value) for s in newest) / len(newest), step),
        slope=slope,
        slope_half_width=half_width,
        remaining=remaining,
        rising=obstacle is not None and slope > half_width,
        forecast_value=None if approach is None else rounded(approach.final, step),
        forecast_half_width=None if approach is None else rounded(approach.half_width, step),
        forecast_seconds=Decimal(0) if obstacle is None else _forecast(rule, ordered, counted, approach),
    )


def _obstacle(rule: SettleRule, last: float, counted: Sequence[Sample], remaining: Decimal) -> str | None:
    """Say what the rule still asks for, or None."""
    if last < rule.minimum_wait:
        return f"{last:g} s since the change, {rule.minimum_wait:g} s are asked"
    if len(counted) < rule.minimum_samples:
        return f"{len(counted)} of {rule.minimum_samples} readings after the wait"
    if _span(counted) < rule.window:
        return f"the readings span {_span(counted):g} s, {rule.window:g} s are asked"
    if remaining > rule.tolerance:
        return f"it may still move {remaining}, more than {rule.tolerance}"
    return None


def _forecast(
    rule: SettleRule, ordered: Sequence[Sample], counted: Sequence[Sample], approach: Approach | None
) -> Decimal:
    """Return whole seconds from the last sample: what the rule asks for, or the approach, or one more reading."""
    last = float(ordered[-1].seconds)
    asked = max(rule.minimum_wait - last, 0.0) + max(rule.window - _span(counted), 0.0)
    least = [asked, rule.window / (rule.minimum_samples - 1)]
    if approach:
        least.append(approach.seconds_until(float(rule.tolerance) / 2, last))
    return rounded(max(least), Decimal(1))


def _span(ordered: Sequence[Sample]) -> float:
    return float(ordered[-1].seconds) - float(ordered[0].seconds) if ordered else 0.0


def _step(rule: SettleRule) -> Decimal:
    """Return the grid on which numbers are compared: a thousandth of the display's step."""
    return rule.resolution / 1000


def _ordered(samples: Sequence[Sample]) -> list[Sample]:
    return sorted(samples, key=lambda sample: float(sample.seconds))


def _recent(ordered: Sequence[Sample], rule: SettleRule) -> list[Sample]:
    """Keep the newest readings within twice the window of the last, and at least the asked number."""
    if not ordered:
        return []
    since = float(ordered[-1].seconds) - 2 * rule.window
    fresh = [sample for sample in ordered if float(sample.seconds) >= since]
    return fresh if len(fresh) >= rule.minimum_samples else list(ordered[-rule.minimum_samples :])
