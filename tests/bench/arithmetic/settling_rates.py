"""How often the settling rule is fooled: false-settled and missed-settled, over time constants, drift and noise.

Run: python tests/bench/arithmetic/settling_rates.py [readings per cell]
A value steps by 0.3 to 2 points at time 0, answers after a dead time as a first-order response, drifts on and
is read at 0.1 resolution every thirty seconds from the end of the wait, as a person calls it out. The first
time a rule says "settled" it is false when more than the tolerance is still to come (for a drift: within the
rule's time constant). "Missed" counts judgements of three sets at which less than half the tolerance was to come.
Two rules of thumb are measured beside ours: three readings within one step, and a slope that does not differ
from nought at 95 %.
"""

from __future__ import annotations

import math
import random
import statistics
import sys
from collections.abc import Callable, Sequence
from decimal import Decimal

from handsfree.measurement.settling import Sample, SettleRule, judge_settling, line_through

TOLERANCE = Decimal("0.15")
SETS = 14


class Response:
    """One made-up approach to a final value."""

    def __init__(self, draw: random.Random, time_constant: float, drift: float, noise: float) -> None:
        self.draw, self.time_constant, self.drift, self.noise = draw, time_constant, drift / 60, noise
        self.step = draw.choice((-1, 1)) * draw.uniform(0.3, 2.0)
        self.dead = draw.uniform(3, 15)
        self.final = draw.uniform(8.5, 10.0)

    def true(self, seconds: float) -> float:
        left = self.step * math.exp(-max(seconds - self.dead, 0) / self.time_constant)
        return self.final + left + self.drift * seconds

    def to_come(self, seconds: float, horizon: float) -> float:
        """What is still to come of the step, and of the drift within the horizon."""
        left = self.step * math.exp(-max(seconds - self.dead, 0) / self.time_constant)
        return abs(self.drift * horizon - left)

    def read(self, seconds: float) -> Sample:
        return Sample(seconds, Decimal(f"{self.true(seconds) + self.draw.gauss(0, self.noise):.1f}"))


def ours(samples: Sequence[Sample], rule: SettleRule) -> bool:
    return judge_settling(samples, rule).settled


def three_alike(samples: Sequence[Sample], _rule: SettleRule) -> bool:
    last = [s.value for s in samples[-3:]]
    return len(last) == 3 and max(last) - min(last) <= Decimal("0.1")


def no_significant_slope(samples: Sequence[Sample], _rule: SettleRule) -> bool:
    last = samples[-5:]
    if len(last) < 3:
        return False
    line = line_through(last)
    return abs(line.slope) <= line.half_width


RULES: dict[str, Callable[[Sequence[Sample], SettleRule], bool]] = {
    "ours": ours,
    "three within one step": three_alike,
    "slope not significant": no_significant_slope,
}


def simulate(
    time_constants: Sequence[float],
    drifts: Sequence[float],
    noises: Sequence[float],
    count: int,
    wait: float,
    seed: int = 1,
) -> dict[tuple[str, float, float, float], tuple[float, float, float]]:
    """Return false-settled share, missed share and mean sets called, by rule, time constant, drift and noise."""
    draw = random.Random(seed)
    rule = SettleRule(TOLERANCE, Decimal("0.1"), minimum_wait=wait)
    table = {}
    for time_constant in time_constants:
        for drift in drifts:
            for noise in noises:
                tally = {name: [0, 0, 0, 0, 0] for name in RULES}  # said, false, chances to see, missed, sets
                for _ in range(count):
                    response = Response(draw, time_constant, drift, noise)
                    samples = [response.read(wait + 30 * k) for k in range(SETS)]
                    for name, settled in RULES.items():
                        row = tally[name]
                        now = wait + 60
                        if response.to_come(now, rule.time_constant) < float(TOLERANCE) / 2:
                            row[2] += 1
                            row[3] += not settled(samples[:3], rule)
                        for called in range(3, SETS + 1):
                            if settled(samples[:called], rule):
                                row[0] += 1
                                at = wait + 30 * (called - 1)
                                row[1] += response.to_come(at, rule.time_constant) > float(TOLERANCE)
                                row[4] += called
                                break
                for name, (said, false, chances, missed, sets) in tally.items():
                    table[name, time_constant, drift, noise] = (
                        false / count,
                        missed / chances if chances else math.nan,
                        sets / said if said else math.nan,
                    )
    return table


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    time_constants, drifts, noises = (10, 22, 40, 60, 90), (0.0, 0.05, 0.1, 0.2, 0.4), (0.0, 0.02, 0.05)
    for wait in (90.0, 180.0):
        table = simulate(time_constants, drifts, noises, count, wait)
        print(f"\nwait {wait:g} s, tolerance {TOLERANCE}, resolution 0.1, {count} responses a cell")
        for name in RULES:
            cells = {key[1:]: value for key, value in table.items() if key[0] == name}
            false, missed, sets = ([v[n] for v in cells.values() if not math.isnan(v[n])] for n in range(3))
            print(
                f"  {name}: false-settled mean {statistics.mean(false):.1%} worst cell {max(false):.1%}; ", end=""
            )
            print(f"missed at three sets {statistics.mean(missed):.1%}; sets called {statistics.mean(sets):.2f}")
        print("  ours, false-settled by time constant (rows, s) and drift (columns, points a minute):")
        print("        " + "".join(f"{d:>8g}" for d in drifts))
        for t in time_constants:
            row = [statistics.mean(table["ours", t, d, n][0] for n in noises) for d in drifts]
            print(f"  {t:>5g} " + "".join(f"{share:>8.1%}" for share in row))
        for n in noises:
            missed = [table["ours", t, d, n][1] for t in time_constants for d in drifts]
            share = statistics.mean(m for m in missed if not math.isnan(m))
            print(f"  ours, missed at three sets with noise {n:g}: {share:.1%}")


if __name__ == "__main__":
    main()
