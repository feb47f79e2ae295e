"""The index of all visits beneath a folder: an SQLite file that can be thrown away; the folders stay the truth."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from handsfree.cache import cache_folder
from handsfree.desk.examination import Examined, opening_facts
from handsfree.events.decisions import VisitOpened
from handsfree.ledger.chain import LONGEST_LINE
from handsfree.office.verification import list_digest
from handsfree.problem import one_line
from handsfree.regular_files import open_regular
from handsfree.visit.recorder import own_facts

PAGE = 50
LONGEST = 4_000
"""Letters that are kept of a text; no fact or sentence of ours has more."""
MOST = 1 << 53
"""No count is larger; a record may claim any."""
_MISSHAPEN = (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError)
"""What reading a line that is none of ours raises."""
WATCHED = frozenset(
    {"ledger.jsonl", "sound", "sources", "redactions.jsonl", "endorsements.jsonl", "signoff.jsonl", "export.json"}
)
"""What of a visit's folder is looked at to see whether it changed."""
SCHEMA = 5
_TEXTS = (
    "job", "site", "technician", "licence", "appliance", "serial", "instrument", "instrument_serial",
    "procedure", "day", "opened_at", "outcome", "summary", "seal", "sentence", "checksum", "identity", "device",
    "anchor", "anchored", "fingerprint", "stamp", "checked_at", "signed",
)  # fmt: skip
_NUMBERS = ("entries", "turns", "not_done", "fails", "unsure", "minutes")
SORTS = {
    "day": "day DESC, opened_at DESC",
    "appliance": "appliance, serial, day DESC",
    "technician": "technician, day DESC",
}


@dataclass(frozen=True)
class ListWanted:
    """What the list is asked for; empty texts ask for nothing."""

    words: str = ""
    technician: str = ""
    since: str = ""
    until: str = ""
    outcome: str = ""
    seal: str = ""
    sort: str = "day"
    page: int = 1


class Index:
    """The index of one folder of visits."""

    def __init__(self, root: Path, file: Path | None = None, *, enrolment: Path | None = None) -> None:
        self.root = root.resolve()
        self.enrolment = enrolment
        """The list that seals are held against; this machine's own copy when None."""
        self.unread = ""
        """Which folders the last scan could not look into; empty when there were none."""
        named = hashlib.sha256(os.fsencode(self.root)).hexdigest()[:16]
        self.file = file or cache_folder() / f"desk-{named}.sqlite"
        self.file.parent.mkdir(parents=True, exist_ok=True)
        with self.open() as base:
            base.execute("PRAGMA journal_mode=WAL")
            if base.execute("PRAGMA user_version").fetchone()[0] != SCHEMA:
                _make(base)

    @contextmanager
    def open(self) -> Iterator[sqlite3.Connection]:
        """Yield a connection; what is done in it is committed at the end, or not at all."""
        with closing(sqlite3.connect(self.file, timeout=30)) as base, base:
            base.row_factory = sqlite3.Row
            yield base

    def scan(self) -> int:
        """Find the visits beneath the folder, note new and changed ones, forget those gone; return how many."""
        whose = list_digest(self.enrolment)
        found = {key: (folder, f"{light};{whose}") for key, (folder, light) in self._folders()}
        with self.open() as base:
            known = {row["key"]: row["light"] for row in base.execute("SELECT key, light FROM visit")}
            for key in known.keys() - found.keys():
                _forget(base, key)
            for key, (folder, light) in found.items():
                if known.get(key) != light:
                    facts = {**_quick(self.root / folder), "key": key, "folder": folder, "light": light}
                    _forget(base, key)
                    _insert(base, "visit", {"seal": "unchecked", **facts})
        return len(found)

    def _folders(self) -> Iterator[tuple[str, tuple[str, str]]]:
        """Yield each visit's key, folder and what changes with it; no link is followed, no pipe is opened."""
        stack, unread = [self.root], []
        while stack:
            folder = stack.pop()
            try:
                with os.scandir(folder) as entries:
                    inner = list(entries)
            except OSError as error:
                if folder == self.root:
                    raise
                unread.append(f"{folder}: {error.strerror}")
                continue
            if not any(each.name == "ledger.jsonl" and not each.is_dir(follow_symlinks=False) for each in inner):
                stack += [
                    Path(each.path)
                    for each in inner
                    if each.is_dir(follow_symlinks=False) and not each.name.startswith(".")
                ]
                continue
            name = str(folder.relative_to(self.root))
            states = [each.stat(follow_symlinks=False) for each in inner if each.name in WATCHED]
            light = ";".join(f"{s.st_size}:{s.st_mtime_ns}:{s.st_ctime_ns}:{s.st_ino}" for s in states)
            yield key_of(name), (name, light)
        self.unread = one_line(f"these folders cannot be looked into: {', '.join(unread)}") if unread else ""

    def keep(self, key: str, examined: Examined) -> None:
        """Take in what an examination found."""
        with self.open() as base:
            facts = {**examined.facts, "checked_at": datetime.now(UTC).isoformat(timespec="seconds")}
            names = ", ".join(f"{name} = :{name}" for name in facts)
            base.execute(f"UPDATE visit SET {names} WHERE key = :key", _row({**facts, "key": key}))  # noqa: S608 - our names
            for table in ("reading", "gate", "misheard"):
                base.execute(f"DELETE FROM {table} WHERE key = ?", (key,))  # noqa: S608
            for table, rows in (
                ("reading", examined.readings),
                ("gate", examined.gates),
                ("misheard", examined.misheard),
            ):
                for row in rows:
                    _insert(base, table, {**row, "key": key})

    def unchecked(self, most: int = 20) -> list[tuple[str, Path]]:
        """Return visits that were never examined in their present state, newest first."""
        with self.open() as base:
            rows = base.execute(
                "SELECT key, folder FROM visit WHERE seal = 'unchecked' ORDER BY day DESC LIMIT ?", (most,)
            ).fetchall()
        return [(row["key"], self.root / os.fsdecode(row["folder"])) for row in rows]

    def one(self, key: str) -> sqlite3.Row | None:
        """Return the row of a visit."""
        with self.open() as base:
            row: sqlite3.Row | None = base.execute("SELECT * FROM visit WHERE key = ?", (key,)).fetchone()
            return row

    def alike(self, key: str) -> list[str]:
        """Return the jobs of other visits whose readings are the same, value for value."""
        with self.open() as base:
            rows = base.execute(
                "SELECT b.job, b.day FROM visit a JOIN visit b ON a.fingerprint = b.fingerprint "
                "AND a.fingerprint <> '' AND a.key <> b.key AND a.identity <> b.identity WHERE a.key = ? LIMIT 5",
                (key,),
            ).fetchall()
        return [f"{row['job']} of {row['day']}" for row in rows]

    def find(self, wanted: ListWanted) -> tuple[list[sqlite3.Row], int]:
        """Return one page of the visits wanted, and how many there are in all."""
        where, values = _where(wanted)
        order = SORTS.get(wanted.sort, SORTS["day"])
        start = PAGE * (max(wanted.page, 1) - 1)
        with self.open() as base:
            total = base.execute(f"SELECT count(*) FROM visit {where}", values).fetchone()[0]  # noqa: S608
            rows = base.execute(
                f"SELECT * FROM visit {where} ORDER BY {order} LIMIT {PAGE} OFFSET {start}",  # noqa: S608
                values,
            ).fetchall()
        return rows, int(total)

    def tally(self) -> dict[str, int]:
        """Return how many visits there are by seal state."""
        with self.open() as base:
            return {row[0]: row[1] for row in base.execute("SELECT seal, count(*) FROM visit GROUP BY seal")}

    def technicians(self) -> list[str]:
        """Return the names of all technicians."""
        with self.open() as base:
            return [row[0] for row in base.execute("SELECT DISTINCT technician FROM visit ORDER BY 1") if row[0]]


def key_of(name: str) -> str:
    """Return the key of a visit from its folder's name beneath the root."""
    return hashlib.sha256(os.fsencode(name)).hexdigest()[:16]


def _where(wanted: ListWanted) -> tuple[str, list[str]]:
    parts, values = [], []
    for word in wanted.words.split():
        parts.append(
            "(job || ' ' || site || ' ' || appliance || ' ' || serial || ' ' || technician) LIKE ? ESCAPE '!'"
        )
        values.append("%" + word.replace("!", "!!").replace("%", "!%").replace("_", "!_") + "%")
    for column, value in (("technician", wanted.technician), ("outcome", wanted.outcome), ("seal", wanted.seal)):
        if value:
            parts.append(f"{column} = ?")
            values.append(value)
    for sign, value in ((">=", wanted.since), ("<=", wanted.until)):
        if value:
            parts.append(f"day {sign} ?")
            values.append(value)
    return ("WHERE " + " AND ".join(parts) if parts else ""), values


def _quick(folder: Path) -> dict[str, Any]:
    """Return the facts of the first and the last line; nothing is verified by it."""
    try:
        with open_regular(folder / "ledger.jsonl") as stream:
            first = json.loads(stream.readline(LONGEST_LINE))
            stream.seek(max(0, os.fstat(stream.fileno()).st_size - 16384))
            lines = stream.read(16384).rstrip(b"\n").split(b"\n")
        opened = VisitOpened.model_validate(own_facts(first["event"]))
        facts = {**opening_facts(opened), "opened_at": str(first["at"]), "outcome": "open"}
    except (*_MISSHAPEN, OSError):
        return {"seal": "unreadable", "sentence": "the first entry is not that of a visit", "job": folder.name}
    try:
        last = json.loads(lines[-1])
        facts["entries"] = min(int(last["seq"]), MOST) + 1
        if last["kind"] == "visit-closed":
            facts["outcome"] = str(last["event"]["outcome"])
            facts["not_done"] = len(last["event"]["not_done"])
    except _MISSHAPEN:
        pass
    return facts


def _row(row: Mapping[str, Any]) -> dict[str, Any]:
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


def _insert(base: sqlite3.Connection, table: str, row: Mapping[str, Any]) -> None:
    names: Sequence[str] = list(row)
    holes = ", ".join(f":{name}" for name in names)
    base.execute(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({holes})", _row(row))  # noqa: S608 - our names


def _forget(base: sqlite3.Connection, key: str) -> None:
    for table in ("visit", "reading", "gate", "misheard"):
        base.execute(f"DELETE FROM {table} WHERE key = ?", (key,))  # noqa: S608 - our names


def _make(base: sqlite3.Connection) -> None:
    texts = ", ".join(f"{name} TEXT NOT NULL DEFAULT ''" for name in _TEXTS)
    numbers = ", ".join(f"{name} REAL NOT NULL DEFAULT 0" for name in _NUMBERS)
    for table in ("visit", "reading", "gate", "misheard"):
        base.execute(f"DROP TABLE IF EXISTS {table}")
    base.execute(f"CREATE TABLE visit (key TEXT PRIMARY KEY, folder TEXT, light TEXT, {texts}, {numbers})")
    base.execute("CREATE TABLE reading (key TEXT, rate TEXT, at_time TEXT, quantity TEXT, value REAL)")
    base.execute("CREATE TABLE gate (key TEXT, gate TEXT, title TEXT, seconds REAL)")
    base.execute("CREATE TABLE misheard (key TEXT, heard TEXT, meant TEXT, why TEXT)")
    for table in ("reading", "gate", "misheard"):
        base.execute(f"CREATE INDEX {table}_key ON {table} (key)")
    for column in ("day", "technician", "seal", "fingerprint"):
        base.execute(f"CREATE INDEX visit_{column} ON visit ({column})")
    base.execute("CREATE INDEX visit_newest ON visit (day DESC, opened_at DESC)")
    base.execute(f"PRAGMA user_version = {SCHEMA}")
