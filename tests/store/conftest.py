"""Stores to test, each on every engine that the product knows."""

import sys
from itertools import count
from pathlib import Path

import psycopg
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))

from sqlalchemy import create_engine, delete

from handsfree.store.database import DatabaseStore
from handsfree.store.embedded import open_embedded
from handsfree.store.months import MonthlyParts
from handsfree.store.postgresql import open_postgresql
from handsfree.store.revisions import begin
from handsfree.store.tables import METADATA

_NUMBERS = count()


@pytest.fixture
def database(postgresql):
    """The address of an empty database."""
    name = f"visits_{next(_NUMBERS)}"
    with psycopg.connect(postgresql.format("postgres"), autocommit=True) as base:
        base.execute(f"CREATE DATABASE {name}")
    return postgresql.format(name)


@pytest.fixture(scope="session")
def engine(postgresql, tmp_path_factory):
    """An engine for a database with the tables of this version, which are emptied for each test."""
    with psycopg.connect(postgresql.format("postgres"), autocommit=True) as base:
        base.execute("CREATE DATABASE shared")
    open_postgresql(postgresql.format("shared"), tmp_path_factory.mktemp("parts")).close()
    made = create_engine(postgresql.format("shared").replace("postgresql://", "postgresql+psycopg://"))
    yield made
    made.dispose()


@pytest.fixture(params=["embedded", "postgresql"])
def store(request, tmp_path):
    """An empty store."""
    if request.param == "embedded":
        made = open_embedded(tmp_path / "store.sqlite")
        yield made
        made.close()
        return
    engine = request.getfixturevalue("engine")
    with engine.begin() as base:
        for table in METADATA.tables.values():
            base.execute(delete(table))
        begin(base)
    yield DatabaseStore(engine, MonthlyParts(tmp_path / "parts"))
