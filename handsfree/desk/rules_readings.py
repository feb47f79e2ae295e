"""Rules about the readings themselves: units, blanks, round values, sets that are copies."""

from __future__ import annotations

from itertools import combinations

from handsfree.desk import wording
from handsfree.desk.evidence import Assessment, Evidence, Item, failed, passed, unknown
from handsfree.desk.measured import Group

FEWEST = 6
"""Fewer values than this may all be round by chance: common practice, no source."""


def units(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether each reading carries a unit and a resolution."""
    del item
    if not evidence.readings:
        return unknown("no readings on record")
    bare = [step.seq for step, event in evidence.readings if not (event.reading.unit and event.reading.resolution)]
    if bare:
        return failed(f"{len(bare)} readings lack a unit or a resolution", bare[0])
    found = sorted({wording.unit(event.reading.unit) or "no dimension" for _, event in evidence.readings})
    return passed(f"{len(evidence.readings)} readings in {', '.join(found)}")


def _values(group: Group) -> list[tuple[str, str]]:
    return [(taken.event.reading.quantity, taken.event.reading.value) for taken in group.readings]


def sets_differ(evidence: Evidence, item: Item) -> Assessment:
    """Judge that what was left at two measurement points is not one set written twice."""
    del item
    missing = [pair.point for pair in evidence.pairs if pair.left is None]
    if missing or len(evidence.pairs) < 2:
        return unknown(
            f"not measured: {wording.listed(missing)}" if missing else "there is one measurement point only"
        )
    left = [pair.left for pair in evidence.pairs if pair.left is not None]
    for first, second in combinations(left, 2):
        if _values(first) == _values(second):
            return failed(f"{first.title} and {second.title} are the same, value for value", second.stood_seq)
    return passed(f"{wording.listed([group.title for group in left])} differ")


def not_round(evidence: Evidence, item: Item) -> Assessment:
    """Judge that the values were not all called to the whole or the half."""
    values = [event.reading.value for _, event in evidence.readings if event.reading.quantity in item.quantities]
    if len(values) < FEWEST:
        named = wording.listed([wording.quantity(quantity) for quantity in item.quantities])
        return unknown(f"too few readings of {named}")
    odd = [value for value in values if value.rstrip("0").split(".")[-1] not in {"", "5"} and "." in value]
    words = f"{len(odd)} of {len(values)} values end in other than .0 or .5"
    return passed(words) if odd else failed(words)


def not_copied(evidence: Evidence, item: Item) -> Assessment:
    """Judge that no other visit holds the same readings, value for value."""
    del item
    if not evidence.main:
        return unknown("no readings that stand")
    if evidence.alike is None:
        return unknown("the other visits are not at hand")
    if evidence.alike:
        return failed(f"value for value as in {wording.listed(list(evidence.alike)[:3])}")
    return passed("no other visit here has the same values")
