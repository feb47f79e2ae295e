"""A supervisor of some offices, by the enrolment list: list, pages, sound, report and export are theirs alone."""

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.commands.supervising import _offices_of
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.site import Desk
from handsfree.office.enrolling import add, begin, revoke
from handsfree.office.enrolment import Role, read_enrolment
from handsfree.office.kept_key import make_key
from handsfree.office.signatures import KeyHolder
from handsfree.problem import Problem
from handsfree.store.kept import Examined, NotedVisit

NORTH, SOUTH = f"{1:016}", f"{2:016}"


@pytest.fixture
def browser(tmp_path, store):
    """The pages of somebody who looks after the north, over two visits."""
    root = tmp_path / "visits"
    root.mkdir()
    for key, office in ((NORTH, "north"), (SOUTH, "south")):
        store.note([NotedVisit(key, f"{office}/{key}", "", {"office": office})])
        facts = {"identity": key, "seal": "closed", "job": f"job-{office}", "technician": f"Ann of the {office}"}
        facts |= {"serial": f"S-{office}", "day": "2026-01-01", "outcome": "finished"}
        store.keep(key, Examined(facts))
    index = Index(root, store=store).within(["north"])
    return TestClient(Desk(index, Door()).application(), base_url="http://127.0.0.1:8470")


def test_no_page_and_no_export_tells_of_another_office(browser):
    """By the list with every filter, the questions and their CSV, an appliance, and each address of a visit."""
    for address in ("/", "/?office=south", "/?words=south", "/across", "/across?office=south"):
        told = browser.get(address).text
        assert "job-south" not in told
        assert "Ann of the south" not in told
    assert "job-north" in browser.get("/").text
    assert "Ann of the north" in browser.get("/across/right-first-time.csv").text
    assert "south" not in browser.get("/across/right-first-time.csv").text
    assert browser.get("/appliance/S-south").status_code == 404
    for address in ("", "/talk", f"/sound/{'a' * 64}.flac", "/report.pdf"):
        assert browser.get(f"/visit/{SOUTH}{address}").status_code == 404


def test_the_list_says_whose_offices_a_supervisor_looks_after(tmp_path):
    """Sealed with everything else; no office for anybody but a supervisor."""
    office, listed = make_key(tmp_path / "office.pem", None), tmp_path / "enrolment.jsonl"
    begin(listed, office, "Heating Ltd")
    add(listed, office, key="a" * 64, name="Ann", role=Role.SUPERVISOR, offices=("north", "east"))
    add(listed, office, key="b" * 64, name="Bob", role=Role.SUPERVISOR)
    keys = read_enrolment(listed).keys
    assert (keys["a" * 64].offices, keys["b" * 64].offices) == (("north", "east"), None)
    with pytest.raises(Problem, match="nobody else"):
        add(listed, office, key="c" * 64, name="Cy", role=Role.AUTHOR, offices=("north",))
    for offices in (("north", "east"), ("../north",), (".north",)):
        with pytest.raises(Problem, match="a device"):
            add(listed, office, key="c" * 64, name="tablet", role=Role.DEVICE, offices=offices)
    changed = listed.read_bytes().replace(b'"north"', b'"south"')
    listed.write_bytes(changed)
    with pytest.raises(Problem, match="seal"):
        read_enrolment(listed)


def test_an_address_of_no_store_is_told_in_one_sentence(tmp_path):
    """Before anything is opened."""
    told = CliRunner().invoke(app, ["across", str(tmp_path), "trend", "--store", "mysql://x"])
    assert told.exit_code != 0
    assert "no address of a store" in f"{told.output}{told.exception}"


def test_a_key_that_is_no_supervisors_now_opens_no_desk(tmp_path):
    """It would see all offices, where a supervisor of one sees that one."""
    office, listed = make_key(tmp_path / "office.pem", None), tmp_path / "enrolment.jsonl"
    begin(listed, office, "Heating Ltd")
    ann = KeyHolder(make_key(tmp_path / "ann.pem", None))
    with pytest.raises(Problem, match="not enrolled") as raised:
        _offices_of(ann, listed)
    assert f"handsfree enrol add supervisor NAME {ann.key}" in raised.value.sentence()
    add(listed, office, key=ann.key, name="Ann", role=Role.SUPERVISOR, offices=("north",))
    assert _offices_of(ann, listed) == ("north",)
    revoke(listed, office, key=ann.key, why="left")
    with pytest.raises(Problem, match="not enrolled as supervisor now"):
        _offices_of(ann, listed)
