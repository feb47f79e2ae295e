"""PostgreSQL by itself: its tables are what the migrations make, it is dumped and restored, two desks share it."""

import subprocess
import threading
from dataclasses import replace

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine, make_url
from synthetic_visits import invented

from handsfree.company.own_database import server_programs
from handsfree.desk.questions import QUESTIONS, answer
from handsfree.problem import Problem
from handsfree.store.postgresql import open_postgresql
from handsfree.store.tables import METADATA
from handsfree.store.wanted import ListWanted
from tests.postgresql_server import server


def filled(store, count=30):
    """The store with invented visits in it."""
    visits = list(invented(count, gates=3, days=50))
    store.note([noted for noted, _ in visits])
    for noted, examined in visits:
        store.keep(noted.key, examined)
    return store


def told(store):
    """All that pages and questions tell of a store."""
    rows, total = store.find(ListWanted())
    facts = [replace(row, checked_at="", revision=0, news=0) for row in rows]
    answers = {name: answer(store, question).rows for name, question in QUESTIONS.items()}
    return facts, total, store.waiting(), store.tally(), store.concerns([row.key for row in rows]), answers


def test_the_migrations_make_the_tables_that_the_program_uses(database, tmp_path):
    """Alembic's own comparison finds no difference."""
    open_postgresql(database, tmp_path).close()
    engine = create_engine(database.replace("postgresql://", "postgresql+psycopg://"))
    with engine.connect() as base:
        assert compare_metadata(MigrationContext.configure(base), METADATA) == []
    engine.dispose()


def test_a_store_that_is_there_already_is_opened_as_it_is(database, tmp_path):
    """A second desk finds what the first one kept, and its mark."""
    first = filled(open_postgresql(database, tmp_path / "one"), 3)
    second = open_postgresql(database, tmp_path / "two")
    assert (second.state(), second.lights()) == (first.state(), first.lights())
    assert told(second) == told(first)
    for each in (first, second):
        each.close()


def test_a_database_that_goes_away_is_told_in_one_sentence_and_is_used_again(database, postgresql, tmp_path):
    """A server ends each connection while a desk works (`pg_terminate_backend`), and then the database is gone."""
    store = filled(open_postgresql(database, tmp_path), 3)
    before = store.tally()
    name = make_url(database).database
    with psycopg.connect(postgresql.format("postgres"), autocommit=True) as base:
        base.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", (name,))
        assert store.tally() == before
        base.execute(f"DROP DATABASE {name} WITH (FORCE)")
    with pytest.raises(Problem, match="does not answer"):
        store.tally()
    store.close()


@pytest.mark.slow("starts two servers of its own, to lose one of them")
def test_a_server_that_is_lost_with_all_its_data_is_restored_from_a_dump(tmp_path):
    """Killed (`kill -9`) while a desk is connected, its data deleted: a new one answers the same by the dump."""
    programs, dump = server_programs(), tmp_path / "visits.dump"
    with server() as lost:
        store = filled(open_postgresql(lost.address.format("postgres"), tmp_path / "parts"))
        before = told(store)
        of = [f"--file={dump}", lost.address.format("postgres")]
        subprocess.run([programs / "pg_dump", "--format=custom", *of], check=True)
        lost.lose()
        with pytest.raises(Problem, match="does not answer"):
            store.tally()
        with pytest.raises(Problem, match="does not answer"):
            open_postgresql(lost.address.format("postgres"), tmp_path / "parts")
        store.close()
    with server() as new:
        subprocess.run([programs / "pg_restore", f"--dbname={new.address.format('postgres')}", dump], check=True)
        restored = open_postgresql(new.address.format("postgres"), tmp_path / "elsewhere")
        assert told(restored) == before
        restored.close()


def test_a_store_filled_anew_answers_the_same(database, tmp_path):
    """Nothing was dumped: what the folders give again, in another order, tells the same."""
    store = filled(open_postgresql(database, tmp_path / "parts"))
    before = told(store)
    store.forget(store.lights())
    assert store.tally() == {}
    visits = list(invented(30, gates=3, days=50))
    store.note([noted for noted, _ in visits])
    for noted, examined in reversed(visits):
        store.keep(noted.key, examined)
    assert told(store) == before
    store.close()


def test_two_desks_that_keep_at_once_lose_nothing(database, tmp_path):
    """Each change gets a revision of its own, and none is seen late by the files that follow."""
    stores = [open_postgresql(database, tmp_path / f"{number}") for number in range(2)]
    visits = list(invented(24, gates=3, days=50))
    stores[0].note([noted for noted, _ in visits])

    def keep(number):
        for noted, examined in visits[number::2]:
            stores[number].keep(noted.key, examined)

    half = [threading.Thread(target=keep, args=(number,)) for number in (0, 1)]
    for each in half:
        each.start()
    answer(stores[0], QUESTIONS["trend"])
    for each in half:
        each.join()
    one, two = (told(store) for store in stores)
    assert one == two
    assert sum(row[2] for row in answer(stores[0], QUESTIONS["trend"]).rows) == 23
    for each in stores:
        each.close()


@pytest.mark.parametrize("address", ["postgresql://nobody@/nothing?host=/nowhere", "postgresql://:x:y"])
def test_a_database_that_cannot_be_used_is_told_in_one_sentence(address):
    """What is wrong, where, what to do; no password."""
    with pytest.raises(Problem) as told:
        open_postgresql(address)
    assert "\n" not in told.value.sentence()
