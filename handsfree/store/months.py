"""The tables for questions as Parquet files, one part for each month where it can be: made from a store's changes.

The parts follow the store by its revisions and can be thrown away. A changed visit is written anew under another
key, and its former key is among the dead ones until its part is rewritten. A new part takes in each older one of
its month that is not much larger, so that a month has few parts and a row is written a few times, not once a scan:
a thousand small files cost more to open than a million rows to read.
"""

from __future__ import annotations

import json
import re
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any, Protocol

import duckdb
from filelock import FileLock

from handsfree.store.questioned import QUESTIONED, unpacked_json

LAYOUT = 1
MANIFEST = "manifest.json"
AT_ONCE = 5_000
"""Visits taken over in one step."""

LARGER = 4
"""A part is taken into a new one unless it is more than so many times as large."""

DEAD_SHARE = 5
"""A month is rewritten when more than one in so many of its visits are dead."""

KEPT_S = 3_600.0
"""A file that is no part any more stays so long, for answers that are still reading it."""

_MONTH = re.compile(r"\d{4}-\d{2}")
_KINDS = {"string": "VARCHAR", "int64": "BIGINT"}


@dataclass(frozen=True)
class ChangedVisit:
    """A visit as questions read it, since some revision."""

    key: str
    revision: int
    day: str
    body: bytes


@dataclass(frozen=True)
class OutdatedVisit:
    """A former state of a visit that holds no more."""

    key: str
    revision: int
    day: str


@dataclass(frozen=True)
class StoreChanges:
    """What changed in a store after one revision, up to another."""

    until: int
    visits: Sequence[ChangedVisit]
    outdated: Sequence[OutdatedVisit]


class ChangingStore(Protocol):
    """What the parts follow."""

    def state(self) -> tuple[str, int]:
        """Return the store's own mark, which no other has, and its revision."""

    def changes(self, after: int, most: int) -> StoreChanges:
        """Return what changed after a revision; at most so many visits."""


@dataclass(frozen=True)
class MonthPart:
    """Some visits of a month, in a file for each table."""

    name: str
    month: str
    visits: int


@dataclass
class _Manifest:
    layout: int = LAYOUT
    mark: str = ""
    until: int = 0
    number: int = 0
    parts: list[MonthPart] = field(default_factory=list)
    dead: dict[str, list[str]] = field(default_factory=dict)


class MonthlyParts:
    """The Parquet files in a folder, and the questions asked of them by DuckDB."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = Lock()
        self._base: duckdb.DuckDBPyConnection | None = None
        self._shown = 0

    def follow(self, store: ChangingStore) -> None:
        """Take over what changed in the store since the last time; all of it, where it is another store."""
        mark, revision = store.state()
        manifest = self._manifest()
        if (manifest.mark, manifest.until) == (mark, revision):
            return
        self._folder.mkdir(parents=True, exist_ok=True)
        with FileLock(self._folder / "lock"):
            manifest = self._manifest()
            if manifest.mark != mark or manifest.until > revision:
                manifest = _Manifest(mark=mark, number=manifest.number)
            while manifest.until < revision:
                self._take(manifest, store.changes(manifest.until, AT_ONCE))
                self._write(manifest)
            self._sweep(manifest)

    def throw_away(self) -> None:
        """Remove all files: the store fills them again."""
        if not self._folder.is_dir():
            return
        with self._lock, FileLock(self._folder / "lock"):
            if self._base is not None:
                self._base.close()
            self._base = None
            for file in (self._folder / MANIFEST, *self._folder.glob("*.parquet")):
                file.unlink(missing_ok=True)

    def rows_of(self, sql: str) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
        """Return the columns and rows of a question in DuckDB's SQL."""
        with self._opened() as base:
            found = base.execute(sql)
            return tuple(column[0] for column in found.description or ()), found.fetchall()

    def _opened(self) -> duckdb.DuckDBPyConnection:
        """Return a connection to the tables as they are now; opening them costs more than a small question."""
        with self._lock:
            stamp = self._stamp()
            if self._base is None or self._shown != stamp:
                self._base, self._shown = self._show(self._manifest()), stamp
            return self._base.cursor()

    def _stamp(self) -> int:
        try:
            return (self._folder / MANIFEST).stat().st_mtime_ns
        except OSError:
            return 0

    def _show(self, manifest: _Manifest) -> duckdb.DuckDBPyConnection:
        base = duckdb.connect()
        dead = [key for keys in manifest.dead.values() for key in keys]
        base.execute("CREATE TABLE dead AS SELECT unnest(?::VARCHAR[]) AS key", [dead])
        for table in QUESTIONED:
            living = "WHERE key NOT IN (SELECT key FROM dead)" if dead and table == "visit" else ""
            base.execute(f"CREATE VIEW {table} AS {self._read(table, manifest.parts)} {living}")
        return base

    def _take(self, manifest: _Manifest, changes: StoreChanges) -> None:
        """Write the new visits of each month into a part, together with the smaller parts of that month."""
        for each in changes.outdated:
            if each.revision <= manifest.until:
                manifest.dead.setdefault(_month(each.day), []).append(_key(each))
        by_month: dict[str, list[ChangedVisit]] = {month: [] for month in manifest.dead}
        for visit in changes.visits:
            by_month.setdefault(_month(visit.day), []).append(visit)
        for month, visits in sorted(by_month.items()):
            self._merge(manifest, month, visits)
        manifest.until = changes.until

    def _merge(self, manifest: _Manifest, month: str, visits: Sequence[ChangedVisit]) -> None:
        there = sorted((part for part in manifest.parts if part.month == month), key=lambda part: part.visits)
        dead = manifest.dead.get(month, [])
        many_dead = len(dead) * DEAD_SHARE > sum(part.visits for part in there)
        if not visits and not (dead and many_dead):
            return
        held, taken = len(visits), []
        for part in there:
            if not many_dead and part.visits > LARGER * held:
                break
            taken.append(part)
            held += part.visits
        manifest.number += 1
        name = f"{month}-{manifest.number:06}"
        count = self._write_part(name, visits, taken, dead)
        manifest.parts = [part for part in manifest.parts if part not in taken]
        if count:
            manifest.parts.append(MonthPart(name, month, count))
        if len(taken) == len(there):
            manifest.dead.pop(month, None)

    def _write_part(
        self, name: str, visits: Sequence[ChangedVisit], taken: Sequence[MonthPart], dead: Sequence[str]
    ) -> int:
        """Write a file for each table; return how many visits they hold."""
        with tempfile.TemporaryDirectory(dir=self._folder) as scratch, duckdb.connect() as base:
            lines = Path(scratch) / "visits.jsonl"
            with lines.open("w", encoding="utf-8") as out:
                for visit in visits:
                    out.write(f'{{"key":{json.dumps(_key(visit))},"rows":{unpacked_json(visit.body)}}}\n')
            base.execute("CREATE TABLE dead AS SELECT unnest(?::VARCHAR[]) AS key", [list(dead)])
            for table in QUESTIONED:
                new = _from_lines(lines, table) if visits else _nothing(table)
                kept = f"{self._read(table, taken)} WHERE key NOT IN (SELECT key FROM dead)"  # noqa: S608 - ours
                where = _quoted(self._file(name, table))
                base.execute(f"COPY ({new} UNION ALL {kept}) TO {where} (FORMAT parquet, COMPRESSION zstd)")
            return _count(base, self._file(name, "visit"))

    def _read(self, table: str, parts: Sequence[MonthPart]) -> str:
        """Return the query for all rows of a table in some parts."""
        if not parts:
            return f"SELECT * FROM ({_nothing(table)})"  # noqa: S608 - our names
        files = ", ".join(_quoted(self._file(part.name, table)) for part in parts)
        columns = ", ".join(QUESTIONED[table])
        return f"SELECT {columns} FROM read_parquet([{files}], hive_partitioning = false)"  # noqa: S608 - our names

    def _file(self, name: str, table: str) -> Path:
        return self._folder / f"{name}-{table}.parquet"

    def _manifest(self) -> _Manifest:
        """Return what the folder holds; as if nothing, when its manifest is missing or of another layout."""
        try:
            told = json.loads((self._folder / MANIFEST).read_text(encoding="utf-8"))
            if told["layout"] != LAYOUT:
                return _Manifest(number=int(told["number"]))
            return _Manifest(**{**told, "parts": [MonthPart(**part) for part in told["parts"]]})
        except (OSError, ValueError, TypeError, KeyError):
            return _Manifest()

    def _write(self, manifest: _Manifest) -> None:
        new = self._folder / f"{MANIFEST}.new"
        new.write_text(json.dumps(asdict(manifest)), encoding="utf-8")
        new.replace(self._folder / MANIFEST)

    def _sweep(self, manifest: _Manifest) -> None:
        """Remove files that have been no part for a while."""
        named = {self._file(part.name, table) for part in manifest.parts for table in QUESTIONED}
        for file in self._folder.glob("*.parquet"):
            if file not in named and time.time() - file.stat().st_mtime > KEPT_S:
                file.unlink(missing_ok=True)


def _key(visit: ChangedVisit | OutdatedVisit) -> str:
    """Return the key of one state of a visit: keys are of one length, so that copies sort as in the store."""
    return f"{visit.key}.{visit.revision}"


def _month(day: str) -> str:
    return day[:7] if _MONTH.fullmatch(day[:7]) else "undated"


def _from_lines(lines: Path, table: str) -> str:
    """Return the query for a table's rows of the visits in a file of JSON lines."""
    shape = ", ".join(f"{name} {_struct(columns)}[]" for name, columns in QUESTIONED.items())
    shape = f"columns = {{key: 'VARCHAR', rows: 'STRUCT({shape})'}}"
    source = f"read_json({_quoted(lines)}, format = 'newline_delimited', {shape})"
    columns = ", ".join(f"one.{name}" for name in QUESTIONED[table] if name != "key")
    return f"SELECT key, {columns} FROM (SELECT key, unnest(rows.{table}) AS one FROM {source})"  # noqa: S608


def _struct(columns: Mapping[str, str]) -> str:
    return (
        "STRUCT(" + ", ".join(f'"{name}" {_KINDS[kind]}' for name, kind in columns.items() if name != "key") + ")"
    )


def _nothing(table: str) -> str:
    columns = (f"NULL::{_KINDS[kind]} AS {name}" for name, kind in QUESTIONED[table].items())
    return f"SELECT {', '.join(columns)} WHERE false"


def _count(base: duckdb.DuckDBPyConnection, file: Path) -> int:
    found = base.execute(f"SELECT count(*) FROM read_parquet({_quoted(file)})").fetchone()  # noqa: S608 - our file
    return int(found[0]) if found else 0


def _quoted(file: Path) -> str:
    return "'" + str(file).replace("'", "''") + "'"
