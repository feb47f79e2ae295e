"""Questions across visits: right by hand, and the same on another engine (DuckDB)."""

import duckdb
import ibis
import pytest

from handsfree.desk.examination import Examined
from handsfree.desk.index import Index
from handsfree.desk.questions import QUESTIONS, answer

VISITS = [
    ("a", "Ann", "S1", "2026-01-01", 0, "finished", 1),
    ("b", "Ann", "S1", "2026-02-01", 2, "finished", 3),
    ("c", "Bob", "S2", "2026-02-02", 0, "stopped", 0),
    ("d", "Bob", "S1", "2026-03-01", 0, "finished", 0),
]
CO2 = {"a": (8.0, 9.2), "b": (9.0, 9.3), "d": (9.6, 9.3)}


@pytest.fixture
def index(tmp_path):
    made = Index(tmp_path, tmp_path / "index.sqlite")
    with made.open() as base:
        for key, *_ in VISITS:
            base.execute("INSERT INTO visit (key, folder, light) VALUES (?, ?, '')", (key, key))
    for key, technician, serial, day, fails, outcome, turns in VISITS:
        facts = {
            "technician": technician, "serial": serial, "day": day, "fails": fails, "outcome": outcome,
            "turns": turns, "identity": key * 64, "seal": "closed", "appliance": "L24", "minutes": 60.0,
            "instrument": "analyser", "instrument_serial": "F1" if key in "ab" else "F2",
        }  # fmt: skip
        readings = [
            {"rate": "maximum", "at_time": when, "quantity": quantity, "value": value}
            for quantity in ("co2", "air_flow", "subcooling")
            for when, value in zip(("found", "left"), CO2.get(key, ()), strict=False)
        ]
        residual = {
            "rate": "maximum",
            "at_time": "left",
            "quantity": "pair_residual",
            "value": 0.5 if key == "d" else 0.1,
        }
        gates = [{"gate": "g", "title": "G", "seconds": seconds} for seconds in (10.0, 20.0)]
        misheard = [{"heard": "fifty", "meant": "", "why": "unknown speech"}]
        made.keep(key, Examined(facts, [*readings, residual], gates, misheard))
    return made


def rows(index, name):
    with index.open() as base:
        found = answer(base, QUESTIONS[name])
    return [dict(zip(found.columns, row, strict=True)) for row in found.rows]


def test_right_first_time_counts_finished_visits_without_a_fail(index):
    """Ann: one of two; Bob: one of two, since a stopped visit is not right."""
    found = {row["technician"]: row for row in rows(index, "right-first-time")}
    assert (found["Ann"]["visits"], found["Ann"]["right_percent"], found["Ann"]["turns_mean"]) == (2, 50.0, 2.0)
    assert found["Bob"]["right_percent"] == 50.0


def test_drift_is_found_now_minus_left_before(index):
    """9.0 after 9.2 left is -0.2; 9.6 after 9.3 left is +0.3; another appliance does not mix in."""
    assert [(row["day"], row["drift"]) for row in rows(index, "drift")] == [
        ("2026-03-01", 0.3),
        ("2026-02-01", -0.2),
    ]


def test_a_copy_of_a_visit_counts_once(index):
    """Two folders with one record are one visit."""
    with index.open() as base:
        base.execute("UPDATE visit SET identity = (SELECT identity FROM visit WHERE key = 'a') WHERE key = 'b'")
    found = {row["technician"]: row["visits"] for row in rows(index, "right-first-time")}
    assert found == {"Ann": 1, "Bob": 2}


def test_the_instrument_that_disagrees_comes_first(index):
    """By the mean residual of its pairs."""
    first, second = rows(index, "instruments")
    assert (first["instrument_serial"], first["residual_mean"], first["pairs"]) == ("F2", 0.3, 2)
    assert second["residual_mean"] == 0.1


def test_gates_and_mishearings_are_counted(index):
    """Mean and most of the stay; how often each was heard."""
    assert rows(index, "slow-gates") == [
        {"gate": "g", "title": "G", "passages": 8, "seconds_mean": 15.0, "seconds_most": 20.0}
    ]
    assert rows(index, "misheard")[0]["times"] == 4


@pytest.mark.parametrize("name", QUESTIONS)
def test_another_engine_gives_the_same_answer(index, name):
    """DuckDB, from the same expression compiled to its own SQL."""
    base = duckdb.connect()
    with index.open() as source:
        for table in ("visit", "reading", "gate", "misheard"):
            columns = [(row[1], row[2] or "TEXT") for row in source.execute(f"PRAGMA table_info({table})")]
            types = ", ".join(
                f'"{column}" {"DOUBLE" if kind == "REAL" else "VARCHAR"}' for column, kind in columns
            )
            base.execute(f"CREATE TABLE {table} ({types})")
            content = [tuple(row) for row in source.execute(f"SELECT * FROM {table}")]
            if content:
                base.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(columns))})", content)
    other = base.execute(str(ibis.to_sql(QUESTIONS[name].ask(), dialect="duckdb"))).fetchall()
    with index.open() as source:
        ours = answer(source, QUESTIONS[name]).rows
    assert [tuple(row) for row in other] == ours
    assert ours


@pytest.mark.parametrize("dialect", ["postgres", "trino", "snowflake"])
@pytest.mark.parametrize("name", QUESTIONS)
def test_each_question_compiles_for_servers_and_distributed_engines(name, dialect):
    """Unchanged; they are not run there."""
    assert "SELECT" in str(ibis.to_sql(QUESTIONS[name].ask(), dialect=dialect))
