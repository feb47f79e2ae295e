"""How often steady CO is called rising, and how soon a real rise is.

Run: python tests/bench/arithmetic/rising_co.py [visits]
CO is called every thirty seconds, twelve sets, at 1 ppm; the display wanders by 2 % of the value (at least 1 ppm).
Steady: 120 ppm throughout. Rising: from 100 ppm by 15, 30 or 60 ppm a minute, without levelling. A plain rule of
thumb, two higher readings running, is measured beside ours.
"""

from __future__ import annotations

import random
import statistics
import sys
from collections.abc import Callable, Sequence
from decimal import Decimal

from handsfree.measurement.settling import Sample, SettleRule, rising

SETS = 12


def rule_at(value: Decimal) -> SettleRule:
    """The tolerance a visit uses for CO: 6 ppm or a tenth."""
    return SettleRule(max(Decimal(6), value / 10), Decimal(1))


def ours(samples: Sequence[Sample]) -> bool:
    return rising(samples, rule_at(samples[-1].value))


def two_higher(samples: Sequence[Sample]) -> bool:
    last = [s.value for s in samples[-3:]]
    return len(last) == 3 and last[0] < last[1] < last[2]


RULES: dict[str, Callable[[Sequence[Sample]], bool]] = {"ours": ours, "two higher running": two_higher}


def called(draw: random.Random, per_minute: float) -> list[Sample]:
    start = 120.0 if per_minute == 0 else 100.0
    values = [start + per_minute * k / 2 for k in range(SETS)]
    return [
        Sample(180 + 30 * k, Decimal(round(value + draw.gauss(0, max(1.0, 0.02 * value)))))
        for k, value in enumerate(values)
    ]


def measure(visits: int, per_minute: float, seed: int = 3) -> dict[str, tuple[float, float]]:
    """Return, by rule, the share of visits in which it said rising, and the median set at which it first did."""
    draw = random.Random(seed)
    firsts: dict[str, list[int]] = {name: [] for name in RULES}
    for _ in range(visits):
        samples = called(draw, per_minute)
        for name, rule in RULES.items():
            first = next((n for n in range(2, SETS + 1) if rule(samples[:n])), None)
            if first is not None:
                firsts[name].append(first)
    return {name: (len(found) / visits, statistics.median(found or [0])) for name, found in firsts.items()}


def main() -> None:
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    for per_minute in (0, 15, 30, 60):
        print(f"{per_minute} ppm a minute, {visits} visits of {SETS} sets")
        for name, (share, first) in measure(visits, per_minute).items():
            print(f"  {name}: called rising in {share:.1%} of visits, first at set {first:g} (median)")


if __name__ == "__main__":
    main()
