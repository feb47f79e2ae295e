"""What the shipped visit costs at a human pace, and what silence does: python tests/bench/visit/human_pace.py [N].

Prints the distributions of utterances, confirmations, repeats and alarms over N seeded visits, a break in each,
and for as many collapses (the person falls silent at a firing gate) when the alarm sounds and the work stops.
Run it with PYTHONPATH at an older checkout to measure that one.
"""

from __future__ import annotations

import random
import statistics
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "session" / "support"))

from human_pace import Person, Tally, collapse
from rehearsed import shipped


def spread(name: str, numbers: list[float]) -> str:
    """Return the least, the median and the most of some numbers."""
    columns = (min(numbers), statistics.median(numbers), max(numbers))
    return f"{name:<16} {' '.join(f'{one:7.0f}' for one in columns)}   {sum(numbers):7.0f}"


def main(visits: int) -> None:
    """Lead the visits, let some end in silence, and print what came of both."""
    plan = shipped()
    tallies: list[Tally] = [Person(plan, seed).lead() for seed in range(1, visits + 1)]
    print(f"{visits} visits         least  median    most       all")
    for name in ("utterances", "confirmations", "repeats", "not_understood", "alarms", "false_stops", "minutes"):
        print(spread(name, [float(getattr(tally, name)) for tally in tallies]))
    print("ends:", {end: sum(tally.end == end for tally in tallies) for end in {tally.end for tally in tallies}})
    dice = random.Random(1)
    places = [place for tally in tallies for place in tally.firing]
    fates = [(place.state.gate, *collapse(place)) for place in dice.sample(places, visits)]
    print(f"{visits} collapses      least  median    most")
    for number, name in ((1, "alarm, s"), (2, "stop, s")):
        known = [fate[number] for fate in fates if fate[number] is not None]
        print(spread(name, known).rsplit("   ", 1)[0])
    print("never alarmed:", [fate[0] for fate in fates if fate[1] is None or fate[2] is None])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
