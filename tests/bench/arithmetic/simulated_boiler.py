"""A made-up premix boiler with two adjusters that interact, lost motion, noise and an analyser that lags.

CO2 at each rate answers both adjusters; the low-rate one moves the high-rate value somewhat and the
high-rate one moves the low-rate value nearly as much as its own. All numbers are invented and drawn anew for
every boiler.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from decimal import Decimal

RATES = ("maximum", "minimum")


@dataclass
class SimulatedBoiler:
    random: random.Random
    gain: dict[tuple[str, str], float] = field(default_factory=dict)
    play: dict[str, float] = field(default_factory=dict)
    value: dict[str, float] = field(default_factory=dict)
    slack: dict[str, float] = field(default_factory=lambda: {"maximum": 0.0, "minimum": 0.0})
    noise: float = 0.05
    lag: float = 0.02
    last: dict[str, float] = field(default_factory=dict)
    worsened: float = 0.0
    """Kept by whoever adjusts it: the most a rate was left further out than when its adjusting began."""

    @classmethod
    def drawn(cls, seed: int) -> SimulatedBoiler:
        draw = random.Random(seed)
        boiler = cls(draw)
        own = {rate: draw.lognormvariate(-1.5, 0.4) for rate in RATES}  # median 0.22 points an eighth
        boiler.gain = {
            ("maximum", "maximum"): own["maximum"],
            ("maximum", "minimum"): own["maximum"] * draw.uniform(0.4, 1.0),
            ("minimum", "minimum"): own["minimum"],
            ("minimum", "maximum"): own["minimum"] * draw.uniform(0.05, 0.35),
        }
        boiler.play = {rate: draw.uniform(0.0, 0.7) for rate in RATES}
        boiler.noise = draw.uniform(0.02, 0.08)
        boiler.lag = draw.uniform(0.0, 0.06)
        boiler.value = {rate: 9.3 + draw.gauss(0, 1.0) for rate in RATES}
        boiler.last = dict(boiler.value)
        return boiler

    def turn(self, adjuster: str, richer_eighths: int) -> None:
        """Turn an adjuster; lost motion is taken up first, from the side it lay on."""
        before = self.slack[adjuster]
        moved = before + richer_eighths
        half = self.play[adjuster] / 2
        effective = max(moved - half, 0.0) if richer_eighths > 0 else min(moved + half, 0.0)
        self.slack[adjuster] = min(max(moved, -half), half)
        self.last = dict(self.value)
        for rate in RATES:
            self.value[rate] += effective * self.gain[adjuster, rate]

    def read(self, rate: str) -> Decimal:
        """Return a settled reading at 0.1 resolution: a little of the last step is still missing."""
        seen = self.value[rate] - self.lag * (self.value[rate] - self.last[rate])
        self.last[rate] = self.value[rate]
        return Decimal(f"{seen + self.random.gauss(0, self.noise):.1f}")
