"""The index of all visits beneath a folder: an SQLite file that can be thrown away; the folders stay the truth."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from handsfree.cache import cache_folder
from handsfree.desk.concerns import Concern, copied, in_order
from handsfree.desk.copies import alike, compare, part
from handsfree.desk.examination import Examined, opening_facts, stamp
from handsfree.desk.index_tables import BESIDE, SCHEMA, forget, insert, make, storable
from handsfree.desk.listing import ListWanted
from handsfree.desk.view import VisitView, unpacked
from handsfree.events.decisions import VisitOpened
from handsfree.events.upcasting import opened_in_todays_form
from handsfree.ledger.chain import LONGEST_LINE
from handsfree.office.verification import list_digest
from handsfree.problem import one_line
from handsfree.regular_files import open_regular
from handsfree.visit.recorder import own_facts

PAGE = 50
NOT_LOOKED_AT, CANNOT_BE_READ = 1, 95
"""How dangerous a visit is taken to be that was not examined yet, and one that cannot be."""

WAITS = (
    "CASE WHEN signed IN ('accepted', 'to be redone', 'not accepted') THEN 2 "
    "WHEN signed = 'returned' THEN 1 ELSE 0 END"
)
"""Where a visit stands in the inbox: waiting for a verdict, for the technician's answer, or for nothing."""

MOST = 1 << 53
"""No count is larger; a record may claim any."""
_MISSHAPEN = (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError)
"""What reading a line that is none of ours raises."""
WATCHED = frozenset(
    {"ledger.jsonl", "sound", "sources", "redactions.jsonl", "endorsements.jsonl", "signoff.jsonl", "export.json"}
)
"""What of a visit's folder is looked at to see whether it changed."""


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
                make(base)

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
                part(base, key)
                forget(base, key)
            for key, (folder, light) in found.items():
                if known.get(key) != light:
                    facts = {**_quick(self.root / folder), "key": key, "folder": folder, "light": light}
                    part(base, key)
                    forget(base, key)
                    office = Path(folder).parts[0] if os.sep in folder else ""
                    unchecked = {"seal": "unchecked", "danger": NOT_LOOKED_AT, "office": office}
                    insert(base, "visit", [{**unchecked, **facts}])
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
            yield key_of(name), (name, _light(inner))
        self.unread = one_line(f"these folders cannot be looked into: {', '.join(unread)}") if unread else ""

    def keep(self, key: str, examined: Examined) -> None:
        """Take in what an examination found."""
        with self.open() as base:
            shapes = len(examined.rows.get("shape", ()))
            facts = {
                "danger": CANNOT_BE_READ if examined.facts.get("seal") == "unreadable" else 0,
                **examined.facts,
                "checked_at": datetime.now(UTC).isoformat(timespec="seconds"),
                "shapes": shapes,
            }
            names = ", ".join(f"{name} = :{name}" for name in facts)
            base.execute(f"UPDATE visit SET {names} WHERE key = :key", storable({**facts, "key": key}))  # noqa: S608 - our names
            base.execute(f"UPDATE visit SET waits = {WAITS} WHERE key = ?", (key,))  # noqa: S608 - our words
            forget(base, key, (name for name in BESIDE if name != "alike"))
            for table, rows in examined.rows.items():
                insert(base, table, [{**row, "key": key} for row in rows])
            if examined.view:
                insert(base, "view", [{"key": key, "body": examined.view}])
                compare(base, key)

    def unchecked(self, most: int = 20) -> list[tuple[str, Path]]:
        """Return visits that were never examined in their present state, newest first."""
        with self.open() as base:
            rows = base.execute(
                "SELECT key, folder FROM visit WHERE seal = 'unchecked' ORDER BY day DESC LIMIT ?", (most,)
            ).fetchall()
        return [(row["key"], self.root / os.fsdecode(row["folder"])) for row in rows]

    def examined(self) -> list[tuple[str, str, Path]]:
        """Return key, state and folder of the visits that were examined and could be read, newest first."""
        with self.open() as base:
            rows = base.execute(
                "SELECT key, light, folder FROM visit WHERE seal NOT IN ('unchecked', 'unreadable', 'broken') "
                "ORDER BY day DESC, opened_at DESC"
            ).fetchall()
        return [(row["key"], row["light"], self.root / os.fsdecode(row["folder"])) for row in rows]

    def one(self, key: str) -> sqlite3.Row | None:
        """Return the row of a visit."""
        with self.open() as base:
            row: sqlite3.Row | None = base.execute("SELECT * FROM visit WHERE key = ?", (key,)).fetchone()
            return row

    def alike(self, key: str) -> list[str]:
        """Return the jobs of other visits whose readings are the same but for a few."""
        with self.open() as base:
            return alike(base, key)

    def view(self, key: str) -> VisitView | None:
        """Return what was kept to be shown of a visit, with what others show of it; None when nothing was."""
        with self.open() as base:
            row = base.execute(
                "SELECT view.body, visit.folder FROM view JOIN visit ON visit.key = view.key WHERE view.key = ?",
                (key,),
            ).fetchone()
            if row is None:
                return None
            try:
                return unpacked(row["body"], self.root / os.fsdecode(row["folder"])).beside(alike(base, key))
            except (ValueError, zlib.error):
                return None

    def concerns(self, keys: Sequence[str]) -> dict[str, tuple[Concern, ...]]:
        """Return what is unresolved of visits, as their pages tell it."""
        found = {}
        with self.open() as base:
            for key in keys:
                rows = base.execute(
                    "SELECT kind, says, weight, about, seq FROM concern WHERE key = ? ORDER BY place", (key,)
                ).fetchall()
                kept = [
                    Concern(row["kind"], row["says"], int(row["weight"]), row["about"], row["seq"]) for row in rows
                ]
                found[key] = in_order([*kept, *copied(alike(base, key))])
        return found

    def waiting(self, beside: str = "") -> list[str]:
        """Return the keys of the visits that wait for a verdict, and of one beside them, gravest first."""
        with self.open() as base:
            rows = base.execute(
                "SELECT key FROM visit WHERE waits = 0 OR key = ? ORDER BY danger DESC, day DESC, opened_at DESC "
                "LIMIT 1000",
                (beside,),
            )
            return [row["key"] for row in rows]

    def find(self, wanted: ListWanted) -> tuple[list[sqlite3.Row], int]:
        """Return one page of the visits wanted, and how many there are in all."""
        where, values = wanted.where()
        start = PAGE * (max(wanted.page, 1) - 1)
        with self.open() as base:
            total = base.execute(f"SELECT count(*) FROM visit {where}", values).fetchone()[0]  # noqa: S608
            rows = base.execute(
                f"SELECT * FROM visit {where} ORDER BY {wanted.order} LIMIT {PAGE} OFFSET {start}",  # noqa: S608
                values,
            ).fetchall()
        return rows, int(total)

    def count_waiting(self) -> int:
        """Return how many visits wait for a verdict."""
        with self.open() as base:
            return int(base.execute("SELECT count(*) FROM visit WHERE waits = 0").fetchone()[0])

    def known(self, column: Literal["technician", "office", "procedure", "version"]) -> list[str]:
        """Return all that visits have in a column."""
        with self.open() as base:
            return [row[0] for row in base.execute(f"SELECT DISTINCT {column} FROM visit ORDER BY 1") if row[0]]  # noqa: S608

    def of_appliance(self, serial: str) -> tuple[list[sqlite3.Row], list[sqlite3.Row]]:
        """Return the visits to an appliance in order without broken ones and copies, and their readings."""
        with self.open() as base:
            visits = base.execute(
                "SELECT *, min(key) FROM visit WHERE serial = ? AND identity <> '' AND seal <> 'broken' "
                "GROUP BY identity ORDER BY day, opened_at",
                (serial,),
            ).fetchall()
            readings = [
                row
                for visit in visits
                for row in base.execute("SELECT * FROM reading WHERE key = ?", (visit["key"],)).fetchall()
            ]
        return visits, readings

    def count_broken(self, serial: str = "") -> int:
        """Return how many records are broken, of one appliance where it is named."""
        with self.open() as base:
            found = base.execute(
                "SELECT count(*) FROM visit WHERE seal = 'broken' AND ? IN ('', serial)", (serial,)
            ).fetchone()
        return int(found[0])

    def gate_title(self, gate: str) -> str:
        """Return the title under which a gate was passed last; its name where no visit has passed it."""
        with self.open() as base:
            found = base.execute("SELECT title FROM gate WHERE gate = ? ORDER BY rowid DESC", (gate,)).fetchone()
        return str(found["title"]) if found else gate

    def signed(self, folders: Sequence[Path], verdict: str) -> None:
        """Note that visits, unchanged since they were looked at, were signed just now.

        The list they were looked at with stays noted: where it changed since, the next scan finds them changed.
        """
        with self.open() as base:
            for folder in folders:
                name = str(folder.resolve().relative_to(self.root))
                row = base.execute("SELECT light FROM visit WHERE key = ?", (key_of(name),)).fetchone()
                whose = str(row["light"]).rpartition(";")[2] if row else ""
                with os.scandir(folder) as entries:
                    light = f"{_light(entries)};{whose}"
                base.execute(
                    "UPDATE visit SET signed = ?, light = ?, stamp = ? WHERE key = ?",
                    (verdict, light, stamp(folder), key_of(name)),
                )
                base.execute(f"UPDATE visit SET waits = {WAITS} WHERE key = ?", (key_of(name),))  # noqa: S608

    def tally(self) -> dict[str, int]:
        """Return how many visits there are by seal state."""
        with self.open() as base:
            return {row[0]: row[1] for row in base.execute("SELECT seal, count(*) FROM visit GROUP BY seal")}

    def technicians(self) -> list[str]:
        """Return the names of all technicians."""
        return self.known("technician")


def _light(inner: Iterable[os.DirEntry[str]]) -> str:
    """Return what changes when a visit's folder does, by its own entries alone."""
    states = [each.stat(follow_symlinks=False) for each in inner if each.name in WATCHED]
    return ";".join(f"{s.st_size}:{s.st_mtime_ns}:{s.st_ctime_ns}:{s.st_ino}" for s in states)


def key_of(name: str) -> str:
    """Return the key of a visit from its folder's name beneath the root."""
    return hashlib.sha256(os.fsencode(name)).hexdigest()[:16]


def _quick(folder: Path) -> dict[str, Any]:
    """Return the facts of the first and the last line; nothing is verified by it."""
    try:
        with open_regular(folder / "ledger.jsonl") as stream:
            first = json.loads(stream.readline(LONGEST_LINE))
            stream.seek(max(0, os.fstat(stream.fileno()).st_size - 16384))
            lines = stream.read(16384).rstrip(b"\n").split(b"\n")
        opened = VisitOpened.model_validate(opened_in_todays_form(own_facts(first["event"])))
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
