"""Every question, unchanged, on SQLite, PostgreSQL and DuckDB over Parquet: the same answers to the digit."""

import json
import sqlite3

import ibis
import psycopg
import pytest
from synthetic_visits import invented

from handsfree.desk.asked import AskedOf
from handsfree.desk.questions import QUESTIONS, answer, told_of
from handsfree.store.embedded import open_embedded
from handsfree.store.questioned import QUESTIONED, unpacked_json

VISITS = 120
MANY = 1_000
TYPES = {
    "sqlite": {"string": "TEXT", "int64": "INTEGER"},
    "postgres": {"string": 'TEXT COLLATE "C"', "int64": "BIGINT"},
}


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """An embedded store with invented visits in it."""
    store = open_embedded(tmp_path_factory.mktemp("engines") / "store.sqlite")
    visits = list(invented(VISITS, gates=6, days=100))
    store.note([noted for noted, _ in visits])
    for noted, examined in visits:
        store.keep(noted.key, examined)
    yield store
    store.close()


def filled(base, kind, hole, kept):
    """The questions' tables in another engine, with the rows that the Parquet files are made from."""
    rows = {table: [] for table in QUESTIONED}
    for visit in kept.changes(0, MANY + 1).visits:
        for table, found in json.loads(unpacked_json(visit.body)).items():
            rows[table] += [(visit.key, *row.values()) for row in found]
    for table, columns in QUESTIONED.items():
        base.execute(
            f"CREATE TABLE {table} ({', '.join(f'{name} {TYPES[kind][is_]}' for name, is_ in columns.items())})"
        )
        base.cursor().executemany(f"INSERT INTO {table} VALUES ({', '.join([hole] * len(columns))})", rows[table])
    return base


@pytest.fixture(scope="module")
def sqlite(kept):
    base = filled(sqlite3.connect(":memory:"), "sqlite", "?", kept)
    yield base
    base.close()


@pytest.fixture(scope="module")
def postgres(kept, postgresql):
    with psycopg.connect(postgresql.format("postgres"), autocommit=True) as base:
        base.execute("CREATE DATABASE engines")
    with psycopg.connect(postgresql.format("engines")) as base:
        yield filled(base, "postgres", "%s", kept)


@pytest.mark.slow("a thousand visits in each of three engines")
def test_every_question_gives_one_answer_for_a_thousand_visits_too(tmp_path, postgresql):
    """On PostgreSQL, which nobody answers from: the questions are portable, not made for one engine."""
    store = open_embedded(tmp_path / "store.sqlite")
    visits = list(invented(MANY, gates=6))
    store.note([noted for noted, _ in visits])
    for noted, examined in visits:
        store.keep(noted.key, examined)
    with psycopg.connect(postgresql.format("postgres"), autocommit=True) as base:
        base.execute("CREATE DATABASE many")
    with psycopg.connect(postgresql.format("many")) as base:
        filled(base, "postgres", "%s", store)
        for name, question in QUESTIONS.items():
            expected = answer(store, question)
            rows = base.execute(str(ibis.to_sql(question.ask(AskedOf()), dialect="postgres"))).fetchall()
            assert told_of(question, rows) == expected, name
            assert expected.rows or name == "withdrawn", name
    store.close()


@pytest.mark.parametrize("dialect", ["sqlite", "postgres"])
def test_every_question_gives_one_answer_on_every_engine(dialect, kept, request):
    """Rows, their order, and every digit; a question without any row here would show nothing."""
    base = request.getfixturevalue(dialect)
    for name, question in QUESTIONS.items():
        for of in (AskedOf(), AskedOf(office="office 1", since="2024-02-01"))[: 2 if name == "trend" else 1]:
            rows = base.execute(str(ibis.to_sql(question.ask(of), dialect=dialect))).fetchall()
            expected = answer(kept, question, of=of)
            assert told_of(question, rows) == expected, name
            assert expected.rows or name == "withdrawn" or of.office, name
