"""What is kept beside a log so that a line is added in the time of a few look-ups, however long the log is.

`log.sqlite` holds the hash of each whole subtree of the tree of RFC 9162 (section 2.1), where each line begins in
`log.jsonl`, and what makes each leaf itself. It is made from the log at any time and believed only as far as its
root is the one that the log's checkpoint signs.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from handsfree.ledger import merkle

FILE = "log.sqlite"
_FORM = 1
_TABLES = """
CREATE TABLE IF NOT EXISTS node (level, place, hash BLOB, PRIMARY KEY (level, place)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS leaf (number INTEGER PRIMARY KEY, start INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS held (what TEXT PRIMARY KEY) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS size (leaves INTEGER NOT NULL, bytes INTEGER NOT NULL);
"""
PATIENCE_S = 30.0


@dataclass(frozen=True)
class LoggedLine:
    """A line of the log: its bytes without the line feed, and what makes it the same as another."""

    line: bytes
    what: str


class LogTree:
    """The tree over a log; whoever adds to it holds the log's lock."""

    def __init__(self, folder: Path, *, reading: bool = False) -> None:
        """Open the one beside a log, made when it is not there; sqlite3.Error when it cannot be."""
        address = f"{(folder / FILE).resolve().as_uri()}?mode={'ro' if reading else 'rwc'}"
        self._base = sqlite3.connect(address, uri=True, timeout=PATIENCE_S, isolation_level=None)
        try:
            if not reading:
                self._base.execute("PRAGMA journal_mode = WAL")
                self._begin()
            if self._base.execute("PRAGMA user_version").fetchone()[0] != _FORM:
                raise sqlite3.DatabaseError("this is of another version")
        except sqlite3.Error:
            self._base.close()
            raise

    def _begin(self) -> None:
        if self._base.execute("PRAGMA user_version").fetchone()[0] not in {0, _FORM}:
            raise sqlite3.DatabaseError("this is of another version")
        with self._whole():
            for table in filter(None, map(str.strip, _TABLES.split(";"))):
                self._base.execute(table)
            if self._base.execute("SELECT count(*) FROM size").fetchone()[0] == 0:
                self._base.execute("INSERT INTO size VALUES (0, 0)")
            self._base.execute(f"PRAGMA user_version = {_FORM}")

    @contextmanager
    def _whole(self) -> Iterator[None]:
        self._base.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._base.execute("ROLLBACK")
            raise
        self._base.execute("COMMIT")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._base.close()

    @property
    def size(self) -> tuple[int, int]:
        """How many leaves it has, and where the last of them ends in the log, in bytes."""
        leaves, there = self._base.execute("SELECT leaves, bytes FROM size").fetchone()
        return int(leaves), int(there)

    def root(self, size: int) -> bytes:
        """Return the tree head over the first leaves (RFC 9162, 2.1.1): the peaks, folded from the right."""
        peaks, place = [], 0
        for level in reversed(range(size.bit_length())):
            if size >> level & 1:
                peaks.append(self._node(level, place >> level))
                place += 1 << level
        return merkle.folded(peaks)

    def _node(self, level: int, place: int) -> bytes:
        found = self._base.execute(
            "SELECT hash FROM node WHERE level = ? AND place = ?", (level, place)
        ).fetchone()
        if found is None:
            raise sqlite3.DatabaseError("a part of the tree is missing")
        return bytes(found[0])

    def holds(self, what: str) -> bool:
        """Say whether a leaf is in the log."""
        return self._base.execute("SELECT 1 FROM held WHERE what = ?", (what,)).fetchone() is not None

    def start(self, number: int) -> int:
        """Return where a line, counted from 0, begins in the log."""
        found = self._base.execute("SELECT start FROM leaf WHERE number = ?", (number,)).fetchone()
        if found is None:
            raise sqlite3.DatabaseError("a line is missing")
        return int(found[0])

    def add(self, lines: Iterable[LoggedLine]) -> None:
        """Add lines at the end, all or none."""
        with self._whole():
            number, there = self.size
            for each in lines:
                self._base.execute("INSERT INTO leaf VALUES (?, ?)", (number, there))
                self._base.execute("INSERT OR IGNORE INTO held VALUES (?)", (each.what,))
                place, hashed = number, merkle.leaf_hash(each.line)
                for level in range(64):
                    self._base.execute("INSERT INTO node VALUES (?, ?, ?)", (level, place, hashed))
                    if not place & 1:
                        break
                    hashed, place = merkle.node_hash(self._node(level, place - 1), hashed), place >> 1
                number, there = number + 1, there + len(each.line) + 1
            self._base.execute("UPDATE size SET leaves = ?, bytes = ?", (number, there))

    def clear(self) -> None:
        """Forget everything: the log is read anew."""
        with self._whole():
            for table in ("node", "leaf", "held"):
                self._base.execute(f"DELETE FROM {table}")  # noqa: S608 - three names of ours
            self._base.execute("UPDATE size SET leaves = 0, bytes = 0")


def opened_tree(folder: Path) -> LogTree:
    """Return the tree beside a log, to add to it; one that cannot be read is made anew."""
    try:
        return LogTree(folder)
    except sqlite3.DatabaseError:
        for ending in ("", "-wal", "-shm"):
            (folder / f"{FILE}{ending}").unlink(missing_ok=True)
        return LogTree(folder)


def looked_up(folder: Path, size: int, newest: int) -> tuple[bytes, bytes, int] | None:
    """Return the roots over the first `size` and `newest` leaves, and where line `size` begins in the log.

    None when the tree beside the log cannot tell: then the log itself is read.
    """
    try:
        with LogTree(folder, reading=True) as tree:
            return tree.root(size), tree.root(newest), tree.start(size - 1)
    except (sqlite3.Error, OSError):
        return None
