"""Visits whose values are the same but for a few: copied from one another, or as good as.

Each visit has the set of its readings by point, set and value. Two are alike when at least four fifths of the
smaller set are in the other too: one changed value, or a few, hide no copy. The share is common practice, no
source.
"""

from __future__ import annotations

import sqlite3

from handsfree.desk.concerns import COPIED
from handsfree.desk.index_tables import insert

LEAST_SHARED = 9
"""Fewer readings than this may be the same by chance: common practice, no source."""

SHARE = 0.8


def compare(base: sqlite3.Connection, key: str) -> None:
    """Note anew which visits are alike to one, and what that makes of their danger."""
    parted = [row[0] for row in base.execute("SELECT other FROM alike WHERE key = ?", (key,))]
    base.execute("DELETE FROM alike WHERE key = ? OR other = ?", (key, key))
    found = base.execute(
        "SELECT other.key, count(*) AS shared, min(mine.shapes, other.shapes) AS least "
        "FROM shape a JOIN shape b ON a.value = b.value AND b.key <> a.key "
        "JOIN visit mine ON mine.key = a.key JOIN visit other ON other.key = b.key "
        "WHERE a.key = ? AND mine.identity <> other.identity GROUP BY other.key HAVING shared >= ?",
        (key, LEAST_SHARED),
    ).fetchall()
    alike = [(other, shared) for other, shared, least in found if shared >= SHARE * least]
    insert(base, "alike", [{"key": key, "other": other, "shared": shared} for other, shared in alike])
    insert(base, "alike", [{"key": other, "other": key, "shared": shared} for other, shared in alike])
    for each in {key, *parted, *(other for other, _ in alike)}:
        _weigh(base, each)


def part(base: sqlite3.Connection, key: str) -> None:
    """Forget what is alike to a visit that is gone or has changed."""
    others = [row[0] for row in base.execute("SELECT other FROM alike WHERE key = ?", (key,))]
    base.execute("DELETE FROM alike WHERE key = ? OR other = ?", (key, key))
    for each in others:
        _weigh(base, each)


def alike(base: sqlite3.Connection, key: str, most: int = 5) -> list[str]:
    """Return the jobs of the visits that are alike to one, those that share most first."""
    rows = base.execute(
        "SELECT v.job, v.day, a.shared, v.shapes FROM alike a JOIN visit v ON v.key = a.other WHERE a.key = ? "
        "ORDER BY a.shared DESC, v.day, v.key LIMIT ?",
        (key, most),
    ).fetchall()
    return [f"{job} of {day} ({int(shared)} readings alike)" for job, day, shared, _ in rows]


def _weigh(base: sqlite3.Connection, key: str) -> None:
    """Set a visit's danger: the weight of its gravest concern."""
    base.execute(
        "UPDATE visit SET danger = max("
        "coalesce((SELECT max(weight) FROM concern WHERE concern.key = visit.key), 0), "
        "(SELECT CASE WHEN count(*) THEN ? ELSE 0 END FROM alike WHERE alike.key = visit.key)) WHERE key = ?",
        (COPIED, key),
    )
