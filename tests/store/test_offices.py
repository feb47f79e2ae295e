"""A supervisor of some offices, by the enrolment list: list, pages, sound, report and export are theirs alone."""

import pytest
from authenticator import Authenticator, sign_in
from httpx2 import HTTPStatusError
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.commands.supervising import _offices_of
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.signing_in import SignedInDesks
from handsfree.desk.site import Desk
from handsfree.office.enrolling import add, begin, revoke
from handsfree.office.enrolment import Role, read_enrolment
from handsfree.office.kept_key import make_key
from handsfree.office.signatures import KeyHolder
from handsfree.problem import Problem
from handsfree.store.kept import Examined, NotedVisit

DESK = "http://localhost:8470"
NORTH, SOUTH = f"{1:016}", f"{2:016}"


@pytest.fixture
def index(tmp_path, store):
    """Two visits, of the north and of the south."""
    root = tmp_path / "visits"
    root.mkdir()
    for key, office in ((NORTH, "north"), (SOUTH, "south")):
        store.note([NotedVisit(key, f"{office}/{key}", "", {"office": office})])
        facts = {"identity": key, "seal": "closed", "job": f"job-{office}", "technician": f"Ann of the {office}"}
        facts |= {"serial": f"S-{office}", "day": "2026-01-01", "outcome": "finished"}
        store.keep(key, Examined(facts))
    return Index(root, store=store, enrolment=tmp_path / "enrolment.jsonl")


@pytest.fixture
def browser(index):
    """The pages of somebody who looks after the north, over two visits."""
    desk = Desk(index.within(["north"]), Door())
    return TestClient(desk.application(), base_url="http://127.0.0.1:8470")


@pytest.fixture
def office(tmp_path):
    """The office's key, of a list without anybody."""
    key = make_key(tmp_path / "office.pem", None)
    begin(tmp_path / "enrolment.jsonl", key, "Heating Ltd")
    return key


@pytest.fixture
def by_passkey(index, office):
    """The pages of two who signed in at one desk by their passkeys: Ann of the north, Bob of the south."""
    desk, clients = SignedInDesks(index, Door()).application(), {}
    for seed, (name, where) in enumerate((("Ann", "north"), ("Bob", "south")), start=1):
        device = Authenticator(seed)
        add(index.enrolment, office, key=device.key, name=name, role=Role.SUPERVISOR, offices=(where,),
            passkey=device.passkey)  # fmt: skip
        clients[name] = TestClient(desk, base_url=DESK)
        assert sign_in(clients[name], device, DESK, name).json() == {"signed_in": name}
    return clients


def test_no_page_and_no_export_tells_of_another_office(browser):
    sees_the_north_alone(browser)


def test_whoever_signs_in_by_passkey_sees_their_own_offices_alone(by_passkey):
    """At one desk, on each store: the list says whose offices these are."""
    sees_the_north_alone(by_passkey["Ann"])
    assert "job-south" in by_passkey["Bob"].get("/").text
    assert "job-north" not in by_passkey["Bob"].get("/").text
    assert by_passkey["Bob"].get(f"/visit/{NORTH}").status_code == 404


def test_who_has_not_signed_in_or_was_revoked_sees_nothing(by_passkey, index, office):
    ann, stranger = by_passkey["Ann"], TestClient(by_passkey["Ann"].app, base_url=DESK)
    revoke(index.enrolment, office, key=Authenticator(1).key, why="left")
    for client in (ann, stranger):
        for address in ("/", f"/visit/{NORTH}", "/across/right-first-time.csv", "/hazards", "/next"):
            answer = client.get(address, follow_redirects=False)
            assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
        assert client.post("/sign/prepare", json={}).status_code == 401
    bob = by_passkey["Bob"]
    bob.post("/sign-out", follow_redirects=False)
    assert bob.get("/", follow_redirects=False).status_code == 303


def test_nobody_signs_in_with_the_passkey_or_the_answer_of_another(index, office):
    """A wrong device, an answer for another site, an answer given twice, and a name that nobody bears."""
    ann = Authenticator(1)
    add(index.enrolment, office, key=ann.key, name="Ann", role=Role.SUPERVISOR, passkey=ann.passkey)
    client = TestClient(SignedInDesks(index, Door()).application(), base_url=DESK)
    assert "another" in sign_in(client, ann, "http://elsewhere:8470", "Ann").text
    assert "not the one" in sign_in(client, Authenticator(2), DESK, "Ann").text
    with pytest.raises(HTTPStatusError, match="422"):
        sign_in(client, ann, DESK, "Cy")
    given = []
    ann.answer = lambda *asked, answer=ann.answer: given.append(answer(*asked)) or given[0]
    assert sign_in(client, ann, DESK, "Ann").status_code == 200
    assert "does not hold" in sign_in(client, ann, DESK, "Ann").text


def test_no_passkey_signs_for_another_office_or_in_place_of_who_signed_in(by_passkey, index):
    """Also at a desk that everybody shares: the list says whose visits a person may judge."""
    shared = TestClient(Desk(index, Door(secret=b"0" * 32)).application(), base_url=DESK)
    asked = {"visits": [{"visit": SOUTH, "digest": "0" * 64}], "verdict": "accepted"}
    token = {"form_token": Door(secret=b"0" * 32).form_token()}
    told = shared.post("/sign/prepare", json={**asked, **token, "key": Authenticator(1).key})
    assert "does not look after the office" in told.text
    ann = by_passkey["Ann"]
    page = ann.get("/sign-in").text
    token = {"form_token": page.split('name="form_token" value="')[1].split('"')[0]}
    told = ann.post("/sign/prepare", json={**asked, **token, "key": Authenticator(2).key})
    assert "Bob has not signed in here" in told.text


def sees_the_north_alone(browser):
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
