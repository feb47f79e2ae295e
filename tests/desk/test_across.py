"""Questions across visits: right by hand. That every engine answers alike is in tests/store/test_engines.py."""

import html
import re

import duckdb
import pytest
from starlette.testclient import TestClient

from handsfree.desk.asked import AskedOf
from handsfree.desk.guard import Door
from handsfree.desk.history import draw
from handsfree.desk.index import Index
from handsfree.desk.questions import QUESTIONS, answer
from handsfree.desk.site import Desk
from handsfree.desk.told_numbers import wilson
from handsfree.store.kept import Examined, NotedVisit

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
    made.store.note([NotedVisit(key, key, "", {}) for key, *_ in VISITS])
    made_so_far = []
    for key, technician, serial, day, fails, outcome, turns in VISITS:
        facts = {
            "technician": technician, "serial": serial, "day": day, "fails": fails, "outcome": outcome,
            "turns": turns, "identity": key * 64, "seal": "closed", "appliance": "L24", "minutes": 60.0,
            "instrument": "analyser", "instrument_serial": "F1" if key in "ab" else "F2",
        }  # fmt: skip
        readings = [
            {"rate": "maximum", "at_time": when, "quantity": quantity, "value": value}
            for quantity in ("co2", "air_flow", "subcooling", "outlet_temperature")
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
        stopped = [{"kind": "stopped", "why": "a smell of gas was called", "gate": "G", "resumed": ""}]
        rows = {"reading": [*readings, residual, {**residual, "value": residual["value"] + 0.01}],
                "gate": gates, "misheard": misheard, "stop": stopped if outcome == "stopped" else []}  # fmt: skip
        made.keep(key, Examined({**facts, "calibrated_until": f"2027-0{len(made_so_far) + 1}-01"}, rows))
        made_so_far.append(key)
    return made


def rows(index, name):
    found = answer(index.store, QUESTIONS[name])
    return [dict(zip(found.columns, row, strict=True)) for row in found.rows]


def test_right_first_time_is_of_the_visits_that_came_to_an_end(index):
    """Ann: one of two; Bob: one of one, since the other was stopped, which is no failure."""
    found = {row["technician"]: row for row in rows(index, "right-first-time")}
    assert (found["Ann"]["visits"], found["Ann"]["right_percent"], found["Ann"]["turns_mean"]) == (2, 50.0, 2.0)
    assert (found["Bob"]["right_percent"], found["Bob"]["ended"], found["Bob"]["stopped"]) == (100.0, 1, 1)


def test_a_tampered_copy_hides_no_genuine_record(index):
    """A copy with a key that sorts first and a changed value stood for the record in answers and histories."""
    index.store.note([NotedVisit("0", "0", "", {})])
    facts = {"technician": "Eve", "serial": "S1", "day": "2026-01-01", "outcome": "finished", "identity": "a" * 64}
    index.keep("0", Examined({**facts, "seal": "broken"}, {}))
    assert {row["technician"]: row["visits"] for row in rows(index, "right-first-time")} == {"Ann": 2, "Bob": 2}
    visits, _ = index.store.of_appliance("S1")
    assert [visit.key for visit in visits] == ["a", "b", "d"]
    browser = TestClient(Desk(index, Door()).application(), base_url="http://127.0.0.1:8470")
    for address in ("/across", "/appliance/S1"):
        assert "1 broken record is left out." in browser.get(address).text
    assert "broken record" not in browser.get("/appliance/S2").text
    index.keep("d", Examined({"serial": "S3", "seal": "broken"}, {}))
    answer_of = browser.get("/appliance/S3")
    assert (answer_of.status_code, "all records of this appliance are broken: 1" in answer_of.text) == (422, True)


def test_visits_behind_a_gate_are_told_by_its_title(index):
    """The list said "gate g": a name of the procedure's own."""
    browser = TestClient(Desk(index, Door()).application(), base_url="http://127.0.0.1:8470")
    assert "Only visits behind an answer: gate G." in browser.get("/?gate=g").text


@pytest.mark.parametrize(("right", "ended"), [(1, 2), (1, 1), (0, 7), (81, 263)])
def test_the_interval_of_a_share_is_wilsons(right, ended):
    """By the formula of 1927 written out; 81 of 263: 0.2553 to 0.3662 (Newcombe 1998, from memory)."""
    p, z = right / ended, 1.959964
    middle, half = p + z * z / (2 * ended), z * (p * (1 - p) / ended + z * z / (4 * ended**2)) ** 0.5
    low, high = ((middle + sign * half) / (1 + z * z / ended) for sign in (-1, 1))
    assert wilson(right, ended) == pytest.approx((100 * low, 100 * high), abs=0.06)
    if (right, ended) == (81, 263):
        assert wilson(right, ended) == (25.5, 36.6)


def test_a_question_can_be_asked_of_some_visits_only(index):
    """By period, office, procedure and version."""
    for key in "ab":
        index.keep(key, Examined({"office": "north", "version": "abc"}))
    for of, expected in (
        (AskedOf(since="2026-02-01"), {"Ann": 1, "Bob": 2}),
        (AskedOf(until="2026-01-31"), {"Ann": 1}),
        (AskedOf(office="north"), {"Ann": 2}),
        (AskedOf(version="abc", since="2026-02-01"), {"Ann": 1}),
        (AskedOf(procedure="none"), {}),
    ):
        found = answer(index.store, QUESTIONS["right-first-time"], of=of)
        assert {row[0]: row[1] for row in found.rows} == expected


def test_recurring_stops_and_calibration_falling_due(index):
    """The stop with its step; the instruments, the soonest first."""
    assert [(row["why"], row["visits"]) for row in rows(index, "stops")] == [("a smell of gas was called", 1)]
    assert [(row["instrument_serial"], row["in_date_until"]) for row in rows(index, "calibration")] == [
        ("F1", "2027-02-01"),
        ("F2", "2027-04-01"),
    ]


def test_drift_is_found_now_minus_left_before(index):
    """9.0 after 9.2 left is -0.2; 9.6 after 9.3 left is +0.3; another appliance does not mix in."""
    assert [(row["day"], row["drift"]) for row in rows(index, "drift")] == [
        ("2026-03-01", 0.3),
        ("2026-02-01", -0.2),
    ]


def test_a_copy_of_a_visit_counts_once(index):
    """Two folders with one record are one visit."""
    index.keep("b", Examined({"identity": "a" * 64}))
    found = {row["technician"]: row["visits"] for row in rows(index, "right-first-time")}
    assert found == {"Ann": 1, "Bob": 2}


def test_the_instrument_that_disagrees_comes_first(index):
    """By the mean residual of its pairs."""
    first, second = rows(index, "instruments")
    assert (first["instrument_serial"], first["residual_mean"], first["pairs"]) == ("F2", 0.305, 4)
    assert second["residual_mean"] == 0.105


def test_an_instrument_is_compared_by_three_pairs_or_more(index):
    """Two pairs show a scatter that may be anything: the least count of the question."""
    row = {"rate": "maximum", "at_time": "left", "quantity": "pair_residual", "value": 0.9}
    index.keep("c", Examined({"instrument_serial": "F3"}, {"reading": [row, row]}))
    assert "F3" not in {row["instrument_serial"] for row in rows(index, "instruments")}
    index.keep("c", Examined({"instrument_serial": "F3"}, {"reading": [row, row, row]}))
    assert rows(index, "instruments")[0]["instrument_serial"] == "F3"


def test_each_answer_leads_to_its_visits_and_to_no_others(index):
    """Every link of the page, within the period asked of."""
    browser = TestClient(Desk(index, Door()).application(), base_url="http://127.0.0.1:8470")
    page = browser.get("/across?since=2026-01-15").text
    links = {html.unescape(link) for link in re.findall(r'<td><a href="(/\?[^"]+)"', page)}
    led = {link: set(re.findall(r'href="/visit/([a-d])"', browser.get(link).text)) for link in links}
    assert all(led.values())
    everything = {"b", "c", "d"}  # a lies before the period
    for wanted, visits in {
        "technician=Ann": {"b"}, "technician=Bob": {"c", "d"}, "gate=g": everything, "serial=S1": {"b", "d"},
        "instrument=F2": {"c", "d"}, "month=2026-03": {"d"}, "stop=a+smell": {"c"},
    }.items():  # fmt: skip
        found = [shown for link, shown in led.items() if wanted in link]
        assert found, wanted
        assert all(shown <= visits for shown in found), wanted
        assert set().union(*found) == visits, wanted


def test_an_answer_is_handed_out_as_parquet_with_the_very_rows(index, tmp_path):
    """Read back by DuckDB, numbers as numbers; an empty one has its columns."""
    browser = TestClient(Desk(index, Door()).application(), base_url="http://127.0.0.1:8470")
    for query in ("", "?technician=x&since=2030-01-01"):
        got = browser.get(f"/across/right-first-time.parquet{query}")
        assert got.headers["content-type"] == "application/vnd.apache.parquet"
        file = tmp_path / "answer.parquet"
        file.write_bytes(got.content)
        read = duckdb.sql(f"SELECT * FROM read_parquet('{file}')")
        since = "2030-01-01" if query else ""
        told = answer(index.store, QUESTIONS["right-first-time"], of=AskedOf(since=since))
        assert tuple(read.columns) == told.columns
        assert read.fetchall() == told.rows
    assert browser.get("/across/no-such.parquet").status_code == 404


def test_the_history_of_an_appliance_joins_what_was_left_with_what_was_found_next(index):
    """S1: 8.0 found, 9.2 left; 9.0 found, 9.3 left; 9.6 found: two lines, the higher value higher up."""
    visits, readings = index.store.of_appliance("S1")
    (plot,) = draw(visits, [row for row in readings if row.quantity == "co2"])
    assert plot.label == "CO₂, maximum"
    assert [one.says.removeprefix(f"{plot.label} ") for one in plot.points] == [
        f"{value:g} as {when} on {day}"
        for day, pair in (("2026-01-01", CO2["a"]), ("2026-02-01", CO2["b"]), ("2026-03-01", CO2["d"]))
        for when, value in zip(("found", "left"), pair, strict=True)
    ]
    by_height = sorted(plot.points, key=lambda one: -one.y)
    values = [float(one.says.split()[2]) for one in by_height]
    assert values == sorted(values)
    places = [(one.x, one.y) for one in plot.points]
    assert plot.paths == ["M{} {}L{} {}".format(*places[left], *places[found]) for left, found in ((1, 2), (3, 4))]


def test_gates_and_mishearings_are_counted(index):
    """Mean and most of the stay; how often each was heard."""
    assert rows(index, "slow-gates") == [
        {"gate": "g", "title": "G", "passages": 8, "hours": 0.03, "seconds_mean": 15.0, "seconds_most": 20.0}
    ]
    assert rows(index, "misheard")[0]["times"] == 4
