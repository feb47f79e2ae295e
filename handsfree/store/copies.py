"""Visits whose values are the same but for a few: copied from one another, or as good as.

Each visit has the set of its readings by point, set and value. Two are alike when at least four fifths of the
smaller set are in the other too: one changed value, or a few, hide no copy. The share is common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from handsfree.store.kept import COPIED, LEAST_SHARED
from handsfree.store.tables import ALIKE, CONCERN, SHAPE, VISIT

SHARE = 0.8


def compare(base: Connection, key: str) -> None:
    """Note anew which visits are alike to one, and what that makes of their danger."""
    parted = _parted(base, key)
    mine, a, other, b = VISIT.alias("mine"), SHAPE.alias("a"), VISIT.alias("other"), SHAPE.alias("b")
    shared = func.count()
    found = base.execute(
        select(other.c.key, shared, mine.c.shapes, other.c.shapes)
        .select_from(a)
        .join(b, (a.c.value == b.c.value) & (b.c.key != a.c.key))
        .join(mine, mine.c.key == a.c.key)
        .join(other, other.c.key == b.c.key)
        .where(a.c.key == key, mine.c.identity != other.c.identity)
        .group_by(other.c.key, mine.c.shapes, other.c.shapes)
        .having(shared >= LEAST_SHARED)
    ).all()
    alike = [(each, count) for each, count, ours, theirs in found if count >= SHARE * min(ours, theirs)]
    if alike:
        both = [(key, each, count) for each, count in alike] + [(each, key, count) for each, count in alike]
        base.execute(insert(ALIKE), [{"key": one, "other": two, "shared": count} for one, two, count in both])
    _weigh(base, {key, *parted, *(each for each, _ in alike)})


def part(base: Connection, key: str) -> None:
    """Forget what is alike to a visit that is gone or has changed."""
    _weigh(base, _parted(base, key))


def _parted(base: Connection, key: str) -> list[str]:
    others = list(base.scalars(select(ALIKE.c.other).where(ALIKE.c.key == key)))
    base.execute(delete(ALIKE).where(or_(ALIKE.c.key == key, ALIKE.c.other == key)))
    return others


def _weigh(base: Connection, keys: Iterable[str]) -> None:
    """Set the danger of visits: the weight of the gravest concern of each."""
    for key in sorted(keys):
        own = base.scalar(select(func.coalesce(func.max(CONCERN.c.weight), 0)).where(CONCERN.c.key == key)) or 0
        copied = base.scalar(select(func.count()).where(ALIKE.c.key == key))
        base.execute(update(VISIT).where(VISIT.c.key == key).values(danger=max(own, COPIED if copied else 0)))
