"""What many visits have in common, kept once: the gates that they passed, and what their columns can hold."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

from sqlalchemy import Connection, insert, select

from handsfree.store.kept import Examined, VisitRow
from handsfree.store.tables import KNOWN, ROUTE, text

LISTED = ("technician", "office", "procedure", "version")
"""The columns whose values the pages list."""


def keep(base: Connection, examined: Examined) -> str:
    """Keep the set of gates that a visit passed, where it is new; return its name, empty where it passed none."""
    titles = {text(str(row["gate"])): text(str(row["title"])) for row in examined.rows.get("gate", ())}
    if not titles:
        return ""
    route = hashlib.sha256(json.dumps(sorted(titles.items())).encode()).hexdigest()[:16]
    if base.scalar(select(ROUTE.c.route).where(ROUTE.c.route == route).limit(1)) is None:
        base.execute(
            insert(ROUTE), [{"route": route, "gate": gate, "title": says} for gate, says in titles.items()]
        )
    return route


def know(base: Connection, visits: Sequence[VisitRow]) -> None:
    """Keep what visits have in the columns that pages list."""
    new = {(each.office, name, getattr(each, name)) for each in visits for name in LISTED if getattr(each, name)}
    there = select(KNOWN.c.office, KNOWN.c.name, KNOWN.c.value)
    offices = {office for office, _, _ in new}
    values = {value for _, _, value in new}
    found = base.execute(there.where(KNOWN.c.office.in_(offices), KNOWN.c.value.in_(values)))
    missing = sorted(new - {tuple(row) for row in found})
    if missing:
        base.execute(
            insert(KNOWN), [{"office": office, "name": name, "value": value} for office, name, value in missing]
        )
