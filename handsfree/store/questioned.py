"""The tables that questions are asked of: whole numbers and texts alone, so that every engine gives one answer.

A sum of floating-point numbers depends on the order in which an engine adds them, and engines round differently.
So tenths and ten-thousandths are kept as whole numbers; whatever divides or rounds does so once, in Python.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping, Sequence
from typing import Literal

from handsfree.store.kept import Cell, ReadingRow, Row, VisitRow
from handsfree.store.tables import text

TENTHS, TEN_THOUSANDTHS = 10, 10_000
"""Parts of a minute or second, and of a reading's unit, that whole numbers count."""

ColumnKind = Literal["string", "int64"]

_TEXTS = (
    "key", "identity", "seal", "technician", "appliance", "serial", "instrument", "instrument_serial", "day",
    "opened_at", "outcome", "procedure", "version", "office", "calibrated_until", "device",
)  # fmt: skip
QUESTIONED: Mapping[str, Mapping[str, ColumnKind]] = {
    "visit": {**dict.fromkeys(_TEXTS, "string"), **dict.fromkeys(("turns", "fails", "minute_tenths"), "int64")},
    "reading": {"key": "string", "rate": "string", "at_time": "string", "quantity": "string", "parts": "int64"},
    "gate": {"key": "string", "gate": "string", "title": "string", "second_tenths": "int64"},
    "misheard": {"key": "string", "heard": "string", "meant": "string", "why": "string"},
    "stop": {"key": "string", "kind": "string", "why": "string", "gate": "string", "resumed": "string"},
}
"""Each table's columns with their kinds, as ibis and every engine understand them."""

_SCALED = {
    "reading": ("value", "parts", TEN_THOUSANDTHS),
    "gate": ("seconds", "second_tenths", TENTHS),
    "visit": ("minutes", "minute_tenths", TENTHS),
}
_LARGEST = 10**11
"""No whole number is larger, so that no sum of squares overflows: what a record claims may be anything."""


def packed(visit: VisitRow, rows: Mapping[str, Sequence[Row]]) -> bytes:
    """Return what questions may read of a visit, its key left out: JSON, compressed."""
    told: dict[str, list[dict[str, Cell]]] = {"visit": [_row("visit", vars(visit))]}
    for table in QUESTIONED.keys() - {"visit"}:
        told[table] = [_row(table, row) for row in rows.get(table, ())]
    return zlib.compress(json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode(), 6)


def unpacked_json(body: bytes) -> str:
    """Return the JSON that was packed: an object of tables, each a list of rows."""
    return zlib.decompress(body).decode()


def readings_in(key: str, body: bytes) -> list[ReadingRow]:
    """Return the readings of a visit."""
    return [
        ReadingRow(key, row["rate"], row["at_time"], row["quantity"], row["parts"] / TEN_THOUSANDTHS)
        for row in json.loads(unpacked_json(body))["reading"]
    ]


def _row(table: str, row: Row) -> dict[str, Cell]:
    scaled = dict(row)
    if table in _SCALED:
        name, column, parts = _SCALED[table]
        scaled[column] = round(float(scaled[name] or 0) * parts)
    return {
        column: _whole(scaled[column]) if kind == "int64" else text(str(scaled[column] or ""))
        for column, kind in QUESTIONED[table].items()
        if column != "key"
    }


def _whole(value: Cell) -> int:
    return max(-_LARGEST, min(_LARGEST, round(float(value or 0))))
