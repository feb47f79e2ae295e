"""What visits cost at a human pace, and what silence does: python tests/bench/visit/human_pace.py [N] [VISIT...].

For each of the seven visits to a boiler, or those named (`two-rate-combustion` too): least, median and most of
utterances, confirmations, repeats, alarms, stops and minutes over N seeded visits (20), a break in each; and for
as many collapses (the person falls silent at a firing gate) when the alarm sounds, when the work stops, and how
many were never alarmed, never stopped, or nobody was told of.
"""

from __future__ import annotations

import random
import statistics
import sys
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "session" / "support"))

from human_pace import Fate, Person, Tally, collapse
from led import VISITS, plan_of
from rehearsed import with_job

from handsfree.trades.sheets import Alert

COUNTS = ("utterances", "confirmations", "repeats", "not_understood", "alarms", "false_stops", "minutes")
ALERT = Alert(who="the office", number="0555 0100")


def spread(name: str, numbers: Iterable[float | None]) -> str:
    """Return the least, the median and the most of some numbers."""
    known = [one for one in numbers if one is not None] or [float("nan")]
    columns = (min(known), statistics.median(known), max(known))
    return f"  {name:<16} {' '.join(f'{one:7.0f}' for one in columns)}"


def told(name: str, tallies: list[Tally], fates: list[Fate]) -> str:
    """Return what came of one visit's rehearsals and collapses."""
    ends = {end: sum(tally.end == end for tally in tallies) for end in {tally.end for tally in tallies}}
    never = [sum(one.alarm is None for one in fates), sum(one.stop is None for one in fates)]
    lines = [f"{name}, {len(tallies)} visits: {ends}    least  median    most"]
    lines += [spread(count, (float(getattr(tally, count)) for tally in tallies)) for count in COUNTS]
    lines += [spread("alarm, s", (one.alarm for one in fates)), spread("stop, s", (one.stop for one in fates))]
    untold = sum(not one.told for one in fates)
    lines.append(
        f"  {len(fates)} collapses: {never[0]} never alarmed, {never[1]} never stopped, {untold} told to nobody"
    )
    return "\n".join(lines)


def main(count: int, names: Iterable[str]) -> None:
    """Lead the visits, let some end in silence, and print what came of both."""
    alarms = 0
    for name in names:
        plan = plan_of(name, with_job(alert=ALERT))
        tallies = [Person(plan, seed).lead() for seed in range(1, count + 1)]
        places = [place for tally in tallies for place in tally.firing]
        print(told(name, tallies, [collapse(place) for place in random.Random(1).sample(places, count)]))
        alarms += sum(tally.alarms + tally.false_stops for tally in tallies)
    print(f"false alarms and stops in all: {alarms}")


if __name__ == "__main__":
    given = sys.argv[1:]
    number = int(given.pop(0)) if given and given[0].isdecimal() else 20
    main(number, given or VISITS)
