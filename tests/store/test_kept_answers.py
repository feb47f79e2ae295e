"""Answers that are kept: the same while no visit changes, worked out anew when one does, each office its own."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from handsfree.desk import questions
from handsfree.desk.asked import AskedOf
from handsfree.desk.questions import QUESTIONS, answer, kept_answer
from handsfree.store.kept import Examined, KeptAnswer, NotedVisit

TREND = QUESTIONS["trend"]


def add(store, key, office):
    store.note([NotedVisit(key, f"{office}/{key}", "", {"office": office})])
    facts = {"identity": key, "seal": "closed", "technician": f"Ann {office}", "day": "2026-01-01"}
    store.keep(key, Examined({**facts, "outcome": "finished", "minutes": 30.5, "turns": 1}))


def kept(store):
    return kept_answer(store, TREND, 25, AskedOf())


def test_a_kept_answer_is_the_answer_and_asks_no_engine(store, monkeypatch):
    """Until a visit comes, changes or goes; of a period it is worked out each time."""
    add(store, f"{1:016}", "north")
    assert kept(store) == answer(store, TREND)
    north = store.within(["north"])
    add(store, f"{2:016}", "south")
    assert kept(store) == answer(store, TREND)
    assert (len(kept(store).rows), kept(north)) == (2, answer(north, TREND))
    with monkeypatch.context() as patch:
        patch.setattr(questions, "answer", None)
        assert [row[0] for row in kept(store).rows] == ["Ann north", "Ann south"]
        assert [row[0] for row in kept(north).rows] == ["Ann north"]
    store.forget([f"{2:016}"])
    assert [row[0] for row in kept(store).rows] == ["Ann north"]
    assert kept_answer(store, TREND, 25, AskedOf(since="2026-02-01")).rows == []


def test_an_answer_that_hangs_on_more_than_the_visits_is_kept_while_that_stays_the_same(store, monkeypatch):
    """As on the list of withdrawn versions: another list, another answer."""
    withdrawn = QUESTIONS["withdrawn"]
    add(store, f"{1:016}", "north")
    assert kept_answer(store, withdrawn, 25, AskedOf()).rows == []
    asked = []
    monkeypatch.setattr(questions, "answer", lambda *told: asked.append(told) or answer(*told))
    kept_answer(store, withdrawn, 25, AskedOf())
    assert asked == []
    kept_answer(store, replace(withdrawn, beside=lambda: ("another list",)), 25, AskedOf())
    assert len(asked) == 1


def test_two_may_keep_the_same_answer_at_once(store):
    """Two desks of one store work the same question out at the same time."""
    kept_by_both = KeptAnswer(1, "2026-01-01T00:00:00Z", b"[]")
    with ThreadPoolExecutor(4) as desks:
        list(desks.map(lambda _: store.keep_answer("trend", kept_by_both), range(40)))
    assert store.answer("trend") == kept_by_both
