"""The store in PostgreSQL: for many desks over one company's visits, with a pool of connections and migrations.

The database has what was examined and what was signed; the folders stay the truth. Lost, it is restored from a
dump, or filled anew by examining the folders, and answers the same.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from sqlalchemy import Connection, Engine, ExceptionContext, create_engine, event, make_url, select, text
from sqlalchemy.exc import ArgumentError, OperationalError, SQLAlchemyError

from handsfree.cache import cache_folder
from handsfree.problem import Problem, one_line
from handsfree.store.database import DatabaseStore
from handsfree.store.months import MonthlyParts
from handsfree.store.revisions import begin
from handsfree.store.tables import STATE

SCHEME = "postgresql://"
CONNECTIONS = 5
"""Kept open by one desk; as many more may be opened for a while."""

_LOCK = 0x48414E44
"""Any number that nobody else locks: two desks that start at once migrate one after the other."""


def open_postgresql(url: str, parts: Path | None = None) -> DatabaseStore:
    """Return the store in a database, its tables brought to this version; `parts` holds the files for questions.

    Raises Problem when the address is none, the extra is missing, or the database does not answer, now or later.
    """
    try:
        address = make_url(url).set(drivername="postgresql+psycopg")
        engine = create_engine(address, pool_size=CONNECTIONS, max_overflow=CONNECTIONS, pool_pre_ping=True)
        with engine.begin() as base:
            base.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
            migrate(base)
            if base.execute(select(STATE)).one_or_none() is None:
                begin(base)
    except ImportError as error:
        raise Problem(
            f"a PostgreSQL store needs {error.name}", remedy="pip install 'handsfree[company]'"
        ) from error
    except (ArgumentError, ValueError) as error:
        raise Problem("this is no address of a database", remedy=f"write {SCHEME}USER@HOST/DATABASE") from error
    except SQLAlchemyError as error:
        raise Problem(
            one_line(f"the database does not answer: {str(error).splitlines()[0]}"),
            where=make_url(url).render_as_string(hide_password=True),
            remedy="see that the server runs, and that its user may make tables",
        ) from error
    event.listen(engine, "handle_error", _away)
    return DatabaseStore(engine, MonthlyParts(parts or _parts_of(engine)))


def _away(failed: ExceptionContext) -> None:
    """Tell a database that went away while the desk works; a connection tried out beforehand is made anew."""
    if isinstance(failed.sqlalchemy_exception, OperationalError) and not failed.is_pre_ping:
        raise Problem(
            one_line(f"the database does not answer: {str(failed.original_exception).splitlines()[0]}"),
            remedy="try again in a moment; nothing that was signed is lost, it lies in the visits' folders",
        ) from failed.original_exception


def migrate(base: Connection) -> None:
    """Bring the tables to this version, in the transaction at hand: all of it, or nothing."""
    from alembic import command  # noqa: PLC0415 - the extra `company`
    from alembic.config import Config  # noqa: PLC0415

    config = Config(attributes={"connection": base})
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    command.upgrade(config, "head")


def _parts_of(engine: Engine) -> Path:
    named = hashlib.sha256(engine.url.render_as_string(hide_password=True).encode()).hexdigest()[:16]
    return cache_folder() / f"desk-{named}.parts"
