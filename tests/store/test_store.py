"""The port: what every store must do, whatever its engine."""

import os
import shutil
import sqlite3

import pytest

from handsfree.desk.index import Index
from handsfree.store.embedded import open_embedded
from handsfree.store.kept import AlikeVisit, Concern, Examined, NotedVisit
from handsfree.store.wanted import ListWanted

OFFICES = {"a": "north", "b": "north", "c": "south"}
VALUES = [f"maximum:{number}:co2:9.{number}" for number in range(20)]


def examined(key, **facts):
    """A visit as an examination leaves it; all of them have the same values."""
    own = {
        "identity": key * 64, "seal": "closed", "job": f"job-{key}", "site": f"{key} road", "appliance": "Boiler",
        "serial": "S1", "technician": f"Ann {key}", "day": f"2026-01-0{ord(key) - 96}", "outcome": "finished",
        "procedure": f"p-{key}", "version": f"v-{key}", "instrument_serial": f"F{key}", "device": key * 64,
    }  # fmt: skip
    rows = {
        "reading": [{"rate": "maximum", "at_time": "left", "quantity": "co2", "value": 9.2}],
        "gate": [{"gate": f"g-{key}", "title": f"Gate {key}", "seconds": 3.5}],
        "misheard": [{"heard": f"word {key}", "meant": "", "why": "unknown"}],
        "stop": [{"kind": "stopped", "why": f"why {key}", "gate": f"g-{key}", "resumed": ""}],
        "concern": [
            {"place": 0, "kind": "Stopped", "says": key, "weight": 64, "about": "order", "seq": 3},
            {"place": 1, "kind": "Open", "says": key, "weight": 50 + ord(key) - 97, "about": "right", "seq": None},
        ],
        "shape": [{"value": value} for value in VALUES],
    }
    return Examined({**own, **facts}, rows, f"view of {key}".encode())


@pytest.fixture
def filled(store):
    """Three visits of two offices, examined."""
    store.note(
        [NotedVisit(key, f"{office}/{key}", f"light {key}", {"office": office}) for key, office in OFFICES.items()]
    )
    for key in OFFICES:
        store.keep(key, examined(key))
    return store


def keys(store, **wanted):
    return [row.key for row in store.find(ListWanted(**wanted))[0]]


def test_what_is_noted_waits_to_be_examined_and_is_seen_by_its_quick_facts(store):
    """A scan has read the first line only."""
    store.note([NotedVisit("a", "x/a", "1", {"job": "J", "day": "2026-01-01"}), NotedVisit("b", "b", "2", {})])
    assert [(row.key, row.seal, row.name) for row in store.unchecked()] == [
        ("a", "unchecked", "x/a"),
        ("b", "unchecked", "b"),
    ]
    assert store.lights() == {"a": "1", "b": "2"}
    assert (store.one("a").job, store.one("none")) == ("J", None)


def test_an_examined_visit_is_kept_whole(filled):
    """Facts, concerns in their order, what its page shows."""
    row = filled.one("a")
    assert (row.technician, row.office, row.shapes, row.danger, row.seal) == ("Ann a", "north", 20, 64, "closed")
    assert row.checked_at
    assert filled.view("a") == b"view of a"
    assert filled.concerns(["a", "none"]) == {
        "a": (Concern("Stopped", "a", 64, "order", 3), Concern("Open", "a", 50, "right", None)), "none": (),
    }  # fmt: skip
    assert filled.unchecked() == []
    visits, readings = filled.of_appliance("S1")
    assert [visit.key for visit in visits] == ["a", "b", "c"]
    assert [(each.key, each.value) for each in readings] == [("a", 9.2), ("b", 9.2), ("c", 9.2)]


def test_a_visit_noted_anew_is_forgotten_as_it_was_but_for_what_is_unresolved(filled):
    """Not even that others were alike to it stays; a hazard does until something readable stands in its place."""
    concerns = filled.concerns(["a"])
    filled.note([NotedVisit("a", "north/a", "other", {"office": "north"})])
    assert (filled.one("a").technician, filled.view("a"), filled.concerns(["a"])) == ("", None, concerns)
    assert (filled.one("a").identity, filled.one("a").danger) == ("a" * 64, 1)
    assert [visit.key for visit in filled.of_appliance("S1")[0]] == ["b", "c"]
    assert [each.job for each in filled.alike(["b"])["b"]] == ["job-c"]
    assert keys(filled, gate="g-a") == []
    filled.keep("a", Examined({"seal": "unreadable", "sentence": "the disk is ill"}))
    assert filled.concerns(["a"]) == concerns
    assert {row.key for row in filled.concerning(64)} == {"a", "b", "c"}
    filled.keep("a", Examined({"seal": "closed"}))
    assert filled.concerns(["a"]) == {"a": ()}


def test_what_is_gone_keeps_nothing(filled):
    """An examination that ends after its folder went keeps nothing either."""
    filled.forget(["a", "b"])
    filled.keep("a", examined("a"))
    assert keys(filled) == ["c"]
    assert filled.alike(["c"]) == {"c": ()}
    assert filled.one("c").danger == 64


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({"words": "ROAD job-a"}, "a"), ({"words": "100%"}, ""), ({"words": "_"}, ""),
        ({"technician": "Ann b"}, "b"),
        ({"since": "2026-01-02", "until": "2026-01-02"}, "b"), ({"outcome": "finished"}, "cba"),
        ({"seal": "broken"}, ""), ({"serial": "S1", "office": "north"}, "ba"), ({"instrument": "Fc"}, "c"),
        ({"device": "aaaa"}, "a"), ({"month": "2026-01"}, "cba"), ({"procedure": "p-a"}, "a"),
        ({"version": "v-b"}, "b"), ({"stop": "why c"}, "c"), ({"at": "g-a"}, "a"), ({"gate": "g-b"}, "b"),
        ({"heard": "word c"}, "c"), ({"sort": "day"}, "cba"), ({"sort": "appliance"}, "cba"),
        ({"sort": "technician"}, "abc"), ({"sort": "no such"}, "cba"), ({"page": 2}, ""),
    ],
)  # fmt: skip
def test_the_list_finds_what_is_asked_for(filled, wanted, found):
    """By each filter and in each order."""
    assert "".join(keys(filled, **wanted)) == found


def test_pages_neither_repeat_nor_miss_a_visit(store):
    """A hundred and twenty visits that are level in everything."""
    store.note([NotedVisit(f"{number:03}", f"{number}", "", {}) for number in range(120)])
    pages = [store.find(ListWanted(page=page)) for page in (1, 2, 3)]
    assert sorted(row.key for rows, _ in pages for row in rows) == [f"{number:03}" for number in range(120)]
    assert {total for _, total in pages} == {120}


def test_the_inbox_has_what_waits_gravest_first(filled):
    """A verdict takes a visit out of it; a question to the technician too."""
    filled.keep("b", examined("b", danger=90))
    assert filled.waiting() == ["c", "b", "a"]
    filled.signed("c", "accepted", "light", "stamp")
    filled.signed("a", "returned", "light", "stamp")
    assert (filled.waiting(), filled.waiting("c"), filled.count_waiting()) == (["b"], ["c", "b"], 1)
    assert [(filled.one(key).waits, filled.one(key).signed) for key in "abc"] == [
        (1, "returned"), (0, ""), (2, "accepted"),
    ]  # fmt: skip
    assert filled.one("a").light == "light"


def test_visits_are_counted(filled):
    """By the state of their seals; broken ones by appliance."""
    filled.keep("b", examined("b", seal="broken"))
    assert filled.tally() == {"broken": 1, "closed": 2}
    assert (filled.count_broken(), filled.count_broken("S1"), filled.count_broken("S2")) == (1, 1, 0)
    assert filled.known("technician") == ["Ann a", "Ann b", "Ann c"]
    assert filled.known("office") == ["north", "south"]
    assert (filled.gate_title("g-a"), filled.gate_title("never")) == ("Gate a", "never")
    assert [visit.key for visit in filled.of_appliance("S1")[0]] == ["a", "c"]


def test_people_of_one_office_see_theirs_alone(filled):
    """In every way there is to ask; what is alike elsewhere is told without its job."""
    north = filled.within(["north"])
    assert (keys(north), north.find(ListWanted())[1], north.waiting(), north.count_waiting()) == (
        ["b", "a"], 2, ["b", "a"], 2,
    )  # fmt: skip
    assert (keys(north, gate="g-c"), keys(north, office="south"), keys(north, words="job-c")) == ([], [], [])
    assert (north.one("c"), north.view("c"), north.concerns(["c"]), north.alike(["c"])) == (
        None,
        None,
        {"c": ()},
        {"c": ()},
    )
    assert (north.known("technician"), north.known("office")) == (["Ann a", "Ann b"], ["north"])
    assert north.tally() == {"closed": 2}
    assert [visit.key for visit in north.of_appliance("S1")[0]] == ["a", "b"]
    assert {each.key for each in north.of_appliance("S1")[1]} == {"a", "b"}
    assert north.gate_title("g-c") == "g-c"
    assert north.alike(["a"])["a"] == (
        AlikeVisit("job-b", "2026-01-02", 20),
        AlikeVisit("a visit of another office", "", 20),
    )
    north.signed("c", "accepted", "", "")
    assert filled.one("c").signed == ""
    assert (north.lights().keys(), keys(north.within(None)), keys(north.within(["south"]))) == (
        {"a", "b"},
        ["b", "a"],
        [],
    )
    assert keys(filled.within([])) == []


@pytest.mark.parametrize("odd", ["a\0b", "\ud800", "=1+1", "'; DROP TABLE visit; --", "x" * 9_000, "Zoë 熱"])
def test_whatever_a_record_claims_can_be_kept(store, odd):
    """A sealed record may hold any text; the name of a folder may be none."""
    store.note([NotedVisit("a", "caf\udce9", "", {"job": odd})])
    store.keep(
        "a",
        Examined(
            {"technician": odd, "seal": "closed", "identity": "i"},
            {"gate": [{"gate": odd, "title": odd, "seconds": 1.0}]},
        ),
    )
    row = store.one("a")
    assert (row.folder, row.path, len(row.job) <= 4_000) == (b"caf\xe9", "caf\udce9", True)
    assert store.find(ListWanted(technician=row.technician))[1] == 1
    assert store.find(ListWanted(words=odd[:40], technician=odd, gate=odd))[1] in {0, 1}
    assert store.one(odd) is None


def test_an_older_file_is_emptied_and_filled_again_from_the_folders(tmp_path):
    """The former layout had the same table names with other columns, and no data that the folders lack."""
    file = tmp_path / "index.sqlite"
    with sqlite3.connect(file) as base:
        base.execute("CREATE TABLE visit (key TEXT PRIMARY KEY, folder TEXT)")
        base.execute("CREATE TABLE former (key TEXT)")
        base.execute("INSERT INTO visit VALUES ('a', 'a')")
        base.execute("PRAGMA user_version = 7")
    base.close()
    made = open_embedded(file)
    assert made.lights() == {}
    made.note([NotedVisit("a", "a", "", {})])
    assert open_embedded(file).lights() == {"a": ""}
    with sqlite3.connect(file) as base:
        assert base.execute("SELECT count(*) FROM sqlite_master WHERE name = 'former'").fetchone() == (0,)
    base.close()


def test_a_damaged_catalogue_is_made_again(tmp_path):
    """The folders fill it again: it is no reason not to open the desk."""
    file = tmp_path / "store.sqlite"
    file.write_bytes(b"no catalogue at all " * 500)
    made = open_embedded(file)
    made.note([NotedVisit("a", "north/a", "light", {"office": "north"})])
    assert made.lights() == {"a": "light"}


def test_a_scan_forgets_nothing_beneath_a_folder_it_cannot_look_into(tmp_path, monkeypatch):
    """A store may serve several desks: what one of them cannot see is still there for the others."""
    for name in ("north/a", "south/b", "south/c"):
        (tmp_path / "visits" / name).mkdir(parents=True)
        (tmp_path / "visits" / name / "ledger.jsonl").touch()
    index = Index(tmp_path / "visits", tmp_path / "store.sqlite")
    index.scan()
    assert len(index.store.lights()) == 3
    (tmp_path / "visits" / "south" / "b" / "ledger.jsonl").unlink()
    scandir = os.scandir

    def refused(folder):
        if str(folder).endswith("north"):
            raise PermissionError(13, "Permission denied")
        return scandir(folder)

    monkeypatch.setattr(os, "scandir", refused)
    assert index.scan() == 1
    assert {row.folder for row in index.store.find(ListWanted())[0]} == {b"north/a", b"south/c"}
    monkeypatch.setattr(os, "scandir", scandir)
    assert index.scan() == 2


def test_a_share_that_is_not_mounted_forgets_nothing(tmp_path):
    """The root, or an office's folder, is there and empty: its visits stay known, until it holds anything."""
    root = tmp_path / "visits"
    for name in ("north/a", "south/b"):
        (root / name).mkdir(parents=True)
        (root / name / "ledger.jsonl").touch()
    index = Index(root, tmp_path / "store.sqlite")
    index.scan()
    (root / "north").rename(tmp_path / "elsewhere")
    (root / "north").mkdir()
    (root / "north" / ".lost").touch()
    index.scan()
    assert {row.folder for row in index.store.find(ListWanted())[0]} == {b"north/a", b"south/b"}
    assert f"is a share not mounted? {root.resolve() / 'north'}" in index.unread
    shutil.rmtree(root)
    root.mkdir()
    assert index.scan() == 0
    assert len(index.store.lights()) == 2
    assert str(root.resolve()) in index.unread
    (root / "south" / "b").mkdir(parents=True)
    (root / "south" / "b" / "ledger.jsonl").touch()
    assert index.scan() == 1
    assert {row.folder for row in index.store.find(ListWanted())[0]} == {b"south/b"}
    assert index.unread == ""


def test_examinations_and_signatures_are_news_in_their_order_and_a_signature_changes_no_answer(filled):
    """So that what one desk signs is noticed by another over the same store."""
    _, last = filled.news()
    before = filled.state()
    assert [row.key for row in filled.news_after(0, 10)] == ["a", "b", "c"]
    assert filled.news_after(last, 10) == []
    filled.signed("b", "accepted", "light", "stamp")
    filled.signed("a", "returned", "light", "stamp")
    assert [(row.key, row.signed) for row in filled.news_after(last, 10)] == [("b", "accepted"), ("a", "returned")]
    assert [row.key for row in filled.news_after(last, 1)] == ["b"]
    assert filled.state() == before
    south = filled.within(["south"])
    assert south.news_after(last, 10) == [], "an office sees its own news"
