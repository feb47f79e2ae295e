"""The tables of the index: what is kept of each visit, and how a row is written."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

SCHEMA = 7
LONGEST = 4_000
"""Letters that are kept of a text; no fact or sentence of ours has more."""

TEXTS = (
    "job", "site", "technician", "licence", "appliance", "serial", "instrument", "instrument_serial",
    "procedure", "version", "office", "calibrated_until", "day", "opened_at", "outcome", "summary", "seal",
    "sentence", "checksum", "identity", "device", "anchor", "anchored", "stamp", "checked_at", "signed",
)  # fmt: skip
NUMBERS = ("entries", "turns", "not_done", "fails", "unsure", "minutes", "clean", "danger", "waits", "shapes")
BESIDE = {
    "reading": "rate TEXT, at_time TEXT, quantity TEXT, value REAL",
    "gate": "gate TEXT, title TEXT, seconds REAL",
    "misheard": "heard TEXT, meant TEXT, why TEXT",
    "stop": "kind TEXT, why TEXT, gate TEXT, resumed TEXT",
    "concern": "place REAL, kind TEXT, says TEXT, weight REAL, about TEXT, seq INTEGER",
    "shape": "value TEXT",
    "view": "body BLOB",
    "alike": "other TEXT, shared REAL",
}
"""The tables beside `visit`, by name, each with its columns but the visit's key."""


def make(base: sqlite3.Connection) -> None:
    """Make all tables anew, empty."""
    texts = ", ".join(f"{name} TEXT NOT NULL DEFAULT ''" for name in TEXTS)
    numbers = ", ".join(f"{name} REAL NOT NULL DEFAULT 0" for name in NUMBERS)
    for table in ("visit", *BESIDE):
        base.execute(f"DROP TABLE IF EXISTS {table}")
    base.execute(f"CREATE TABLE visit (key TEXT PRIMARY KEY, folder TEXT, light TEXT, {texts}, {numbers})")
    for table, columns in BESIDE.items():
        base.execute(f"CREATE TABLE {table} (key TEXT, {columns})")
        base.execute(f"CREATE INDEX {table}_key ON {table} (key)")
    base.execute("CREATE INDEX shape_value ON shape (value, key)")
    base.execute("CREATE INDEX alike_other ON alike (other)")
    for column in ("day", "technician", "seal", "identity", "serial"):
        base.execute(f"CREATE INDEX visit_{column} ON visit ({column})")
    base.execute("CREATE INDEX visit_newest ON visit (day DESC, opened_at DESC)")
    base.execute("CREATE INDEX visit_inbox ON visit (waits, danger DESC, day DESC, opened_at DESC)")
    base.execute(f"PRAGMA user_version = {SCHEMA}")


def insert(base: sqlite3.Connection, table: str, rows: Iterable[Mapping[str, Any]]) -> None:
    """Write rows that have the same columns."""
    written = [storable(row) for row in rows]
    if not written:
        return
    names = list(written[0])
    holes = ", ".join(f":{name}" for name in names)
    base.executemany(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({holes})", written)  # noqa: S608 - our names


def forget(base: sqlite3.Connection, key: str, tables: Iterable[str] = ("visit", *BESIDE)) -> None:
    """Remove what tables hold of a visit."""
    for table in tables:
        base.execute(f"DELETE FROM {table} WHERE key = ?", (key,))  # noqa: S608 - our names


def storable(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row as the base can hold it: text that is Unicode and no longer than a page."""
    return {name: _text(value) if isinstance(value, str) else value for name, value in row.items()}


def _text(value: str) -> str | bytes:
    """Return a text to be kept; the name of a folder that is no Unicode as the bytes it is."""
    try:
        value.encode()
    except UnicodeEncodeError:
        return value.encode("utf-8", "surrogateescape" if _is_of_a_file_system(value) else "replace")
    return value[:LONGEST]


def _is_of_a_file_system(value: str) -> bool:
    return all(not 0xD800 <= ord(letter) <= 0xDFFF or 0xDC80 <= ord(letter) <= 0xDCFF for letter in value)
