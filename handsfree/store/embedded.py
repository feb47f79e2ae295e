"""The store without a server: one SQLite file, made again when it is of another version."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.pool import NullPool

from handsfree.store.database import DatabaseStore
from handsfree.store.months import MonthlyParts
from handsfree.store.revisions import begin
from handsfree.store.tables import METADATA

SCHEMA = 12
"""Raised with every change of the tables: a file of another number is emptied, and the folders fill it again."""

WAIT_S = 30.0
"""How long one process waits for another that writes."""


def open_embedded(file: Path) -> DatabaseStore:
    """Return the store in a file; made where there is none, emptied where it is of another version, or damaged."""
    file.parent.mkdir(parents=True, exist_ok=True)
    where = URL.create("sqlite", database=str(file))
    engine = create_engine(where, poolclass=NullPool, connect_args={"timeout": WAIT_S})
    event.listen(engine, "connect", _written_ahead)
    try:
        _made(engine)
    except (sqlite3.DatabaseError, DatabaseError) as error:
        if type(getattr(error, "orig", error)) is not sqlite3.DatabaseError:
            raise  # such as a lock that another holds: the file itself is well
        for ending in ("", "-wal", "-shm"):
            file.with_name(f"{file.name}{ending}").unlink(missing_ok=True)
        _made(engine)
    return DatabaseStore(engine, MonthlyParts(file.with_suffix(".parts")))


def _made(engine: Engine) -> None:
    with engine.begin() as base:
        if base.scalar(text("PRAGMA user_version")) != SCHEMA:
            _empty(base)


def _written_ahead(connection: Any, _: object) -> None:
    """Let readers read while one writes."""
    connection.execute("PRAGMA journal_mode=WAL")


def _empty(base: Connection) -> None:
    """Make all tables anew, empty; whatever an older version left in the file goes."""
    tables = base.scalars(text("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"))
    for name in list(tables):
        base.exec_driver_sql(f'DROP TABLE "{name}"')
    METADATA.create_all(base)
    begin(base)
    base.execute(text(f"PRAGMA user_version = {SCHEMA}"))
