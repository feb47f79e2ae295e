"""The first-order approach to a final value: after a dead time, x(t) = final + A·exp(-t/time constant).

For each time constant of a grid the final value and the amplitude follow by linear least squares; the grid
is weighed by the residuals and by how far the time constant lies from the one expected (a factor of two is
one standard deviation, common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Approach:
    """Where the value is heading; times in seconds on the clock of the samples."""

    final: float
    half_width: float
    """Of the final value, about 95 %."""
    time_constant: float
    amplitude: float
    """Distance from the final value at the time `since`."""
    since: float

    def value_at(self, seconds: float) -> float:
        """Return the expected value at a time."""
        return self.final + self.amplitude * math.exp(-(seconds - self.since) / self.time_constant)

    def seconds_until(self, distance: float, now: float) -> float:
        """Return how long after `now` the value comes within the distance of its final value."""
        left = abs(self.amplitude) * math.exp(-(now - self.since) / self.time_constant)
        return self.time_constant * math.log(left / distance) if left > distance else 0.0


def approach_of(samples: Sequence[tuple[float, float]], expected: float, noise: float) -> Approach | None:
    """Fit the approach to (seconds, value) pairs; None under three samples or when all are at one time.

    `expected` is the time constant expected, `noise` the standard deviation of one reading.
    """
    if len(samples) < 3 or samples[0][0] == samples[-1][0]:
        return None
    fits = [
        fit
        for power in range(-12, 13)
        if (fit := _fit(samples, expected * 2 ** (power / 6), noise, penalty=(power / 6) ** 2)) is not None
    ]
    if not fits:
        return None
    best = min(cost for cost, _ in fits)
    weights = [math.exp(-(cost - best) / 2) for cost, _ in fits]
    total = sum(weights)
    final = sum(w * fit.final for w, (_, fit) in zip(weights, fits, strict=True)) / total
    spread = sum(w * (fit.final - final) ** 2 for w, (_, fit) in zip(weights, fits, strict=True)) / total
    chosen = min(fits, key=lambda pair: pair[0])[1]
    within = sum(w * (fit.half_width / 2) ** 2 for w, (_, fit) in zip(weights, fits, strict=True)) / total
    amplitude = chosen.amplitude + chosen.final - final
    return Approach(final, 2 * math.sqrt(spread + within), chosen.time_constant, amplitude, chosen.since)


def _fit(
    samples: Sequence[tuple[float, float]], time_constant: float, noise: float, penalty: float
) -> tuple[float, Approach] | None:
    since = samples[0][0]
    shapes = [math.exp(-(t - since) / time_constant) for t, _ in samples]
    values = [value for _, value in samples]
    count = len(samples)
    mean_shape, mean_value = sum(shapes) / count, sum(values) / count
    squares = sum((shape - mean_shape) ** 2 for shape in shapes)
    if squares < 1e-9:
        return None
    amplitude = sum((s - mean_shape) * (v - mean_value) for s, v in zip(shapes, values, strict=True)) / squares
    final = mean_value - amplitude * mean_shape
    residual = sum((v - final - amplitude * s) ** 2 for s, v in zip(shapes, values, strict=True))
    half_width = 2 * noise * math.sqrt(1 / count + mean_shape**2 / squares)
    return residual / noise**2 + penalty, Approach(final, half_width, time_constant, amplitude, since)
