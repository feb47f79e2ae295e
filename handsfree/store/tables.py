"""The tables of a catalogue, for every engine alike.

Texts compare by their bytes on every engine, so that orders are the same everywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from sqlalchemy import BigInteger, Boolean, Column, Float, Index, LargeBinary, MetaData, Table, Text

from handsfree.store.kept import Cell, Row, VisitRow

LONGEST = 4_000
"""Letters that are kept of a text; no fact or sentence of ours has more."""

METADATA = MetaData()
TEXT = Text().with_variant(Text(collation="C"), "postgresql")
_TYPES: dict[str, Any] = {
    "str": TEXT, "int": BigInteger(), "float": Float(53), "bool": Boolean(), "bytes": LargeBinary(),
}  # fmt: skip


def _column(name: str, kind: str) -> Column[Any]:
    return Column(name, _TYPES[kind], nullable=False, primary_key=name == "key")


VISIT = Table("visit", METADATA, *(_column(each.name, str(each.type)) for each in fields(VisitRow)))


def _beside(name: str, **columns: str) -> Table:
    """Return a table with rows of a visit: columns by the kinds of their values."""
    others = (Column(column, _TYPES[kind]) for column, kind in columns.items())
    return Table(name, METADATA, Column("key", TEXT, nullable=False, index=True), *others)


MISHEARD = _beside("misheard", heard="str")
STOP = _beside("stop", why="str", gate="str")
CONCERN = _beside("concern", place="int", kind="str", says="str", weight="int", about="str", seq="int")
SHAPE = _beside("shape", value="str")
VIEW = _beside("view", body="bytes")
ASKED = _beside("asked", body="bytes")
"""What questions read of a visit, packed: rows of gates and readings would make a server's tables grow tenfold."""
ALIKE = _beside("alike", other="str", shared="int")
BESIDE = {table.name: table for table in (MISHEARD, STOP, CONCERN, SHAPE, VIEW, ASKED)}
"""The tables beside `visit` that an examination fills."""

ROUTE = Table(
    "route", METADATA, Column("route", TEXT, primary_key=True), Column("gate", TEXT, primary_key=True),
    Column("title", TEXT, nullable=False),
)  # fmt: skip
"""The gates of each route: few visits pass gates in a set of their own."""
OUTDATED = Table(
    "outdated", METADATA, Column("since", BigInteger, index=True), Column("key", TEXT),
    Column("revision", BigInteger), Column("day", TEXT),
)  # fmt: skip
"""States of visits that hold no more, each with the revision since which it does not."""
STATE = Table(
    "state", METADATA, Column("mark", TEXT), Column("revision", BigInteger),
    Column("news", BigInteger, nullable=False),
)  # fmt: skip
"""One row: the store's own mark, the last revision and the last news.

Who raises one of them holds it until the end of the change.
"""
KNOWN = Table(
    "known", METADATA, *(Column(name, TEXT, primary_key=True) for name in ("office", "name", "value")),
)  # fmt: skip
"""What visits of an office have in some columns, so that a million visits are not gone through to list offices."""
ANSWER = Table(
    "answer", METADATA, Column("question", TEXT, primary_key=True), Column("revision", BigInteger),
    Column("made_at", TEXT), Column("body", LargeBinary),
)  # fmt: skip
"""Answers that were worked out, each by a digest of all that was asked."""

CLAIM = Table(
    "claim", METADATA, Column("key", TEXT, primary_key=True), Column("who", TEXT, primary_key=True),
    Column("until", TEXT, nullable=False),
)  # fmt: skip
"""Who looks at a visit, and until when that counts: no part of a visit, so it stays while one is examined."""

Index("shape_value", SHAPE.c.value, SHAPE.c.key)
Index("alike_other", ALIKE.c.other)
for _name in ("day", "technician", "seal", "identity", "serial", "route", "revision", "news"):
    Index(f"visit_{_name}", VISIT.c[_name])
Index("visit_newest", VISIT.c.day.desc(), VISIT.c.opened_at.desc())
Index("visit_inbox", VISIT.c.waits, VISIT.c.danger.desc(), VISIT.c.day.desc(), VISIT.c.opened_at.desc())

EMPTY: Mapping[str, Cell] = {
    each.name: each.default for each in fields(VisitRow) if isinstance(each.default, str | int | float)
}
"""What a visit's columns hold before anything is known."""


def storable(row: Row) -> dict[str, Cell]:
    """Return a row as every engine can hold it: text that is Unicode, without NUL, no longer than a page."""
    return {name: text(value) if isinstance(value, str) else value for name, value in row.items()}


def text(value: str) -> str:
    """Return a text that every engine can hold: what a record claims may be none."""
    return value[:LONGEST].encode("utf-8", "replace").decode().replace("\0", "\ufffd")
