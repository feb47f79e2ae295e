"""Which device ran which version, and which visits ran one that was withdrawn later."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import Any

import duckdb
import ibis
import pytest

from handsfree.bundles.statement import Withdrawal
from handsfree.desk import asked as questions
from handsfree.desk import wording
from handsfree.desk.asked import VISIT, AskedOf
from handsfree.events.decisions import ProcedureStanding, VisitOpened

ROWS = [
    # key, device, procedure, version, day
    ("a", "tablet-1", "one-check", "1.0.0 approved 111111111111", "2026-03-01"),
    ("b", "tablet-1", "one-check", "1.0.1 approved 222222222222", "2026-03-02"),
    ("c", "tablet-2", "one-check", "1.0.0 approved 111111111111", "2026-03-03"),
    ("d", "tablet-2", "two-checks", "1.0.0 example 333333333333", "2026-03-04"),
    ("e", "tablet-2", "one-check", "11.0.0 draft 444444444444", "2026-03-05"),
]


Engine = tuple[str, Any]


@pytest.fixture(params=["sqlite", "duckdb"])
def visits(request: pytest.FixtureRequest) -> Iterator[Engine]:
    """A table of visits as the store has it: in the product's own engine, and in another."""
    made: Any = sqlite3.connect(":memory:") if request.param == "sqlite" else duckdb.connect()
    made.execute(f"create table visit ({', '.join(f'{name} varchar' for name in VISIT.columns)})")
    for key, device, procedure, version, day in ROWS:
        known = {"key": key, "identity": key, "seal": "whole", "device": device, "procedure": procedure}
        known |= {"version": version, "day": day}
        row = [known.get(name, "") for name in VISIT.columns]
        made.execute(f"insert into visit values ({', '.join('?' * len(row))})", row)
    yield request.param, made
    made.close()


def asked(visits: Engine, expression: object) -> list[tuple[object, ...]]:
    dialect, made = visits
    return list(made.execute(str(ibis.to_sql(expression, dialect=dialect))).fetchall())


def test_each_device_s_versions_are_counted_with_their_days(visits: Engine) -> None:
    found = asked(visits, questions.versions(AskedOf()))
    assert found[0] == ("tablet-1", "one-check", "1.0.0 approved 111111111111", 1, "2026-03-01", "2026-03-01")
    assert len(found) == 5


def test_visits_of_a_version_withdrawn_later_are_found_and_no_others(
    visits: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither another procedure of that number, nor a version that only begins or ends alike."""
    at = "2026-04-01T00:00:00.000Z"
    one = Withdrawal.model_construct(procedure="one-check", versions=("1.0.0",), why="a lock's left out", at=at)
    monkeypatch.setattr(questions, "withdrawals_here", lambda: (one,))
    found = asked(visits, questions.withdrawn(AskedOf()))
    assert [row[0] for row in found] == ["a", "c"]
    assert {row[-2:] for row in found} == {(at, "a lock's left out")}
    monkeypatch.setattr(questions, "withdrawals_here", lambda: ())
    assert asked(visits, questions.withdrawn(AskedOf())) == []


def test_a_version_is_told_with_what_it_counted_for() -> None:
    opened = VisitOpened.model_construct(procedure_sha256="ab" * 32, standing=None)
    assert wording.version_told(opened) == "abababababab"
    draft = opened.model_copy(update={"standing": ProcedureStanding(status="draft")})
    assert wording.version_told(draft) == "none draft abababababab"
