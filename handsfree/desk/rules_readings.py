"""Rules about the readings themselves: units, blanks, round values, sets that are copies."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, pairwise

from handsfree.desk import wording
from handsfree.desk.evidence import Assessment, Evidence, Item, failed, not_asked, passed, unknown
from handsfree.desk.measured import Group

FEWEST_PAIRS = 18
"""Fewer values read again than this may all be the same by chance: common practice, no source."""

FEWEST = 6
"""Fewer values than this may all be round by chance: common practice, no source."""


def units(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether each reading carries a unit and a resolution."""
    del item
    if not evidence.readings:
        if evidence.recorded.plan is not None and not evidence.recorded.read:
            return not_asked("the procedure reads nothing")
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
        return not_asked(f"too few readings of {named}")
    odd = [value for value in values if value.rstrip("0").split(".")[-1] not in {"", "5"} and "." in value]
    words = f"{len(odd)} of {len(values)} values end in other than .0 or .5"
    return passed(words) if odd else failed(words)


def not_copied(evidence: Evidence, item: Item) -> Assessment:
    """Judge that no other visit holds the same readings, but for a few."""
    del item
    if not evidence.main:
        return unknown("no readings that stand")
    return copied(evidence.alike)


def copied(alike: Sequence[str] | None) -> Assessment:
    """Judge by the other visits whose readings are the same but for a few; None: they are not at hand."""
    if alike is None:
        return unknown("the other visits are not at hand")
    if alike:
        return failed(f"the same values as in {wording.listed(list(alike)[:3])}")
    return passed("no other visit here has the same values")


def not_smooth(evidence: Evidence, item: Item) -> Assessment:
    """Judge that values read again and again differ now and then, as an instrument's last digit does.

    Common practice, no source.
    """
    del item
    pairs = [
        (before, after)
        for group in evidence.groups
        if group.settles
        for quantity in group.quantities
        for (_, before), (_, after) in pairwise(group.series(quantity))
    ]
    if len(pairs) < FEWEST_PAIRS:
        return not_asked("too few values were read more than once")
    differ = sum(before != after for before, after in pairs)
    words = f"{differ} of {len(pairs)} values read again differ from the one before"
    return passed(words) if differ else failed(words)
