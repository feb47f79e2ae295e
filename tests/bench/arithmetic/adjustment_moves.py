"""How many turns until both rates are in band and within 0.2 of each other: advice against blind eighths.

Run: python tests/bench/arithmetic/adjustment_moves.py [boilers]
Prints the distribution of turns, the share that reached the goal, the share sent for help, and whether any
boiler ended further from its bands than it was found (divergence).
"""

from __future__ import annotations

import statistics
import sys
from collections import Counter
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from simulated_boiler import RATES, SimulatedBoiler

from handsfree.measurement.advice import AdjusterData, AdjusterMove, Advice, Refusal, Task, advise, aim_for
from handsfree.measurement.verdict import Band

BANDS = {
    "maximum": Band(Decimal("9.0"), Decimal("9.7"), "invented sheet"),
    "minimum": Band(Decimal("8.7"), Decimal("9.5"), "invented sheet"),
}
TASK = Task(
    BANDS,
    {rate: AdjusterData("clockwise", 2) for rate in RATES},
    Band(Decimal("-0.2"), Decimal("0.2"), "invented sheet"),
)


def off(boiler: SimulatedBoiler) -> float:
    """The worst distance of the true values from their bands."""
    return max(outside(boiler, rate) for rate in RATES)


def outside(boiler: SimulatedBoiler, rate: str) -> float:
    """The distance of one rate's true value from its band."""
    value = boiler.value[rate]
    return max(float(BANDS[rate].low) - value, value - float(BANDS[rate].high), 0.0)


def with_advice(boiler: SimulatedBoiler) -> tuple[int, str]:
    """Maximum, then minimum, then maximum again, as a visit goes, until nothing is left to adjust."""
    moves: list[AdjusterMove] = []
    for _ in range(12):
        before_round = len(moves)
        current = {rate: boiler.read(rate) for rate in RATES}
        for rate in RATES:
            current = {**current, rate: boiler.read(rate)}
            begun = outside(boiler, rate)
            while True:
                answer = advise(rate, current, TASK, moves)
                if isinstance(answer, Refusal):
                    break
                assert isinstance(answer, Advice)
                signed = answer.eighths if answer.direction == "clockwise" else -answer.eighths
                boiler.turn(rate, signed)
                after = boiler.read(rate)
                moves.append(AdjusterMove(rate, signed, rate, current[rate], after))
                current = {rate: after, "maximum": boiler.read("maximum")}
            boiler.worsened = max(boiler.worsened, outside(boiler, rate) - begun)
            if answer.kind == "get help":
                return len(moves), f"help: {answer.reason}"
        if len(moves) == before_round and answer.kind == "nothing to adjust":
            return len(moves), "done"
    return len(moves), "help: twelve rounds"


def by_blind_eighths(boiler: SimulatedBoiler) -> tuple[int, str]:
    """Turn one eighth the right way until the reading is in its band, and round again."""
    moves = 0
    for _ in range(12):
        before_round = moves
        for rate in RATES:
            for _ in range(24):
                current = {rate: boiler.read(rate)}
                if rate == "minimum":
                    current["maximum"] = boiler.read("maximum")
                aim = aim_for(rate, current, TASK)
                if aim is None or aim.holds(current[rate]):
                    break
                boiler.turn(rate, 1 if current[rate] < aim.low else -1)
                moves += 1
            else:
                return moves, "help: 24 eighths at one rate"
        if moves == before_round:
            return moves, "done"
    return moves, "help: twelve rounds"


def compare(boilers: int, first_seed: int = 0) -> dict[str, list[tuple[int, str, float, float, float]]]:
    """Return, by method: turns, ending, distance from the bands before and after, and divergence.

    Divergence is the most that a rate was left further outside its band than when its own adjusting began.
    """
    results: dict[str, list[tuple[int, str, float, float, float]]] = {"advice": [], "blind eighths": []}
    for seed in range(first_seed, first_seed + boilers):
        for name, method in (("advice", with_advice), ("blind eighths", by_blind_eighths)):
            boiler = SimulatedBoiler.drawn(seed)
            found = off(boiler)
            turns, ending = method(boiler)
            results[name].append((turns, ending, found, off(boiler), boiler.worsened))
    return results


def main() -> None:
    boilers = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    results = compare(boilers)
    print(f"{boilers} simulated boilers, both rates in band and within 0.2; a turn is one called move")
    for name, rows in results.items():
        turns = [row[0] for row in rows if row[1] == "done"]
        deciles = statistics.quantiles(turns, n=10)
        helped = Counter(row[1] for row in rows if row[1] != "done")
        print(
            f"{name}: reached {len(turns) / len(rows):.1%}; turns median {statistics.median(turns):g}, "
            f"90 % within {deciles[-1]:g}, most {max(turns)}"
        )
        if name == "advice":
            worsened = [row[4] for row in rows]
            print(
                f"    left further out than when its adjusting began: {sum(w > 0.1 for w in worsened)} boilers "
                f"by more than 0.1 points, most {max(worsened):.2f}"
            )
            print(f"    ended further out than found by more than 0.2: {sum(r[3] - r[2] > 0.2 for r in rows)}")
        for reason, count in helped.most_common(6):
            print(f"    {count / len(rows):.1%} {reason}")
    ratio = [
        b[0] / a[0]
        for a, b in zip(results["advice"], results["blind eighths"], strict=True)
        if a[1] == b[1] == "done" and a[0] > 0
    ]
    print(f"turns blind / turns advised, median over boilers: {statistics.median(ratio):.2f}")


if __name__ == "__main__":
    main()
