"""Signing at the desk over HTTP: by whom, with which form, of which visits; what it refuses writes nothing."""

import json
import re

import pytest
from desk_client import client
from lists import NAMED, STRANGER, SUPERVISOR, list_of

from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import key_of
from handsfree.office.enrolment import NAME as NAME_OF_LIST
from handsfree.problem import Problem


def form(index, **changes):
    browser = client(index)
    page = browser.get(f"/visit/{key_of('first')}").text
    values = dict(re.findall(r'name="(form_token|digest)" value="([^"]*)"', page))
    values |= {"verdict": "accepted", "remark": "<b>good</b>"} | changes
    return browser, f"/visit/{key_of('first')}/sign-off", values


def test_signing_off_writes_one_line_and_shows_it(index, short):
    """By the form of the page; what was typed stays text."""
    browser, url, values = form(index)
    answer = browser.post(url, data=values)
    assert answer.status_code == 200
    assert "&lt;b&gt;good&lt;/b&gt;" in answer.text
    assert len((short / "first" / "endorsements.jsonl").read_bytes().splitlines()) == 1


def test_what_was_signed_as_the_store_failed_is_not_led_to_again(index, short, monkeypatch):
    """The database was killed after the signature was written, and the visit was signed a second time."""
    browser, url, values = form(index)
    with monkeypatch.context() as failing:
        failing.setattr(index.store, "signed", lost)
        answer = browser.post(url, data=values)
    assert (answer.status_code, "went away" in answer.text) == (422, True)
    assert len((short / "first" / "endorsements.jsonl").read_bytes().splitlines()) == 1
    for other in index.store.waiting():
        if other != key_of("first"):
            index.store.signed(other, "accepted", "", "")
    assert index.store.waiting() == [key_of("first")]
    assert client(index).get("/next", follow_redirects=False).headers["location"] == "/"
    assert index.store.waiting() == []


def lost(*_):
    """A database that went away."""
    raise Problem("the database went away")


@pytest.mark.parametrize(
    ("changes", "headers", "status"),
    [
        ({"form_token": "0" * 64}, {}, 403),
        ({"form_token": ""}, {}, 403),
        ({}, {"origin": "http://evil.example"}, 403),
        ({}, {"sec-fetch-site": "cross-site"}, 403),
        ({"digest": "0" * 64}, {}, 409),
        ({"verdict": "fine"}, {}, 422),
        ({"remark": "x" * 30_000}, {}, 413),
    ],
)
def test_forms_that_are_not_ours_write_nothing(index, short, changes, headers, status):
    """Another site's form, an old page's, a wrong or a huge one."""
    browser, url, values = form(index, **changes)
    assert browser.post(url, data=values, headers=headers).status_code == status
    assert not (short / "first" / "endorsements.jsonl").exists()


def test_the_name_is_the_lists_and_never_a_forms(index, short):
    """D2: whatever name a form held was signed, 15,000 characters of it."""
    browser, url, values = form(index, by="Somebody Else " * 1000)
    text = browser.post(url, data=values).text
    assert f"by {NAMED}," in text
    assert "Somebody Else" not in text
    members = json.loads((short / "first" / "endorsements.jsonl").read_bytes())
    assert members["by"] == {"key": SUPERVISOR.key, "name": NAMED, "role": "supervisor"}


@pytest.mark.parametrize("signer", [None, STRANGER])
def test_without_an_enrolled_key_the_desk_signs_nothing(index, short, signer):
    """D2: the machine made itself a key and signed with it."""
    page = client(index, signer=signer).get(f"/visit/{key_of('first')}").text
    assert "Sign as" not in page
    values = dict(re.findall(r'name="(form_token|digest)" value="([^"]*)"', page))
    browser = client(index, signer=signer)
    page = browser.get(f"/visit/{key_of('first')}").text
    values = dict(re.findall(r'name="(form_token|digest)" value="([^"]*)"', page)) | {"verdict": "accepted"}
    assert browser.post(f"/visit/{key_of('first')}/sign-off", data=values).status_code == 422
    assert not (short / "first" / "endorsements.jsonl").exists()


def test_the_networks_token_lets_its_holder_read_and_never_sign(index, short):
    """D2: it also signed."""
    door = Door(hosts=frozenset({"desk.example"}), token="right")
    browser = client(index, door, "desk.example")
    browser.get("/enter?token=right")
    page = browser.get(f"/visit/{key_of('first')}").text
    assert "Over the network this desk is for reading." in page
    values = dict(re.findall(r'name="(form_token|digest)" value="([^"]*)"', page)) | {"verdict": "accepted"}
    assert browser.post(f"/visit/{key_of('first')}/sign-off", data=values).status_code == 422
    asked = {"visits": [{"visit": key_of("first"), "digest": values["digest"]}], "verdict": "accepted"}
    both = asked | {"form_token": values["form_token"], "key": SUPERVISOR.key}
    for address in ("/sign/prepare", "/sign/complete", "/passkey/begin", "/passkey/finish"):
        answer = browser.post(address, json=both)
        assert (answer.status_code, "is for reading" in answer.text) == (403, True), address
    assert "passkey" not in page.replace("Sign with a passkey, or", "")
    assert not (short / "first" / "endorsements.jsonl").exists()


def test_at_a_bare_address_it_is_said_where_a_passkey_can_be_made(index):
    """W3C Web Authentication, level 2, 5.1.3: only a domain may have passkeys, so browsers refuse 127.0.0.1."""
    for host, status in (("127.0.0.1", 422), ("localhost", 200)):
        browser = client(index, host=host)
        page = browser.get(f"/visit/{key_of('first')}").text
        token = re.search(r'name="form_token" value="([^"]*)"', page)[1]
        answer = browser.post("/passkey/begin", json={"form_token": token})
        assert answer.status_code == status
        assert ("open http://localhost:8470/" in answer.text) == (status == 422)


def test_visits_are_signed_together_and_each_holds_by_itself(index, short):
    """One signature; the index has the verdict after the next look, and after every later one (D4)."""
    browser = client(index)
    visits = []
    for name in ("first", "second"):
        page = browser.get(f"/visit/{key_of(name)}").text
        values = dict(re.findall(r'name="(form_token|digest)" value="([^"]*)"', page))
        visits.append({"visit": key_of(name), "digest": values["digest"]})
    asked = {"visits": visits, "verdict": "accepted", "form_token": values["form_token"]}
    prepared = browser.post("/sign/prepare", json=asked).json()
    given = {"token": prepared["token"], "form_token": values["form_token"]}
    assert browser.post("/sign/complete", json=given).json() == {"signed": 2, "by": NAMED}
    assert browser.post("/sign/complete", json=given).status_code == 409
    for _ in range(2):
        index.scan()
        for key, folder in index.unchecked():
            index.keep(key, examine(folder))
        assert {index.store.one(key_of(name)).signed for name in ("first", "second")} == {"accepted"}


def test_a_visit_of_an_unknown_device_is_amber_and_cannot_be_accepted(index, short, tmp_path):
    """D3: it showed "Whole and closed, none fails"."""
    (tmp_path / "state" / NAME_OF_LIST).unlink()
    list_of(tmp_path / "state" / NAME_OF_LIST, [])
    index.scan()
    for key, folder in index.unchecked():
        index.keep(key, examine(folder))
    assert "unknown device" in client(index).get("/").text
    browser, url, values = form(index)
    assert "sealed by an unknown device" in browser.get(f"/visit/{key_of('first')}").text
    answer = browser.post(url, data=values)
    assert answer.status_code == 422
    assert "nobody vouches for cannot be accepted" in answer.text
    assert not (short / "first" / "endorsements.jsonl").exists()


@pytest.mark.parametrize(
    ("address", "body", "status"),
    [
        ("/sign/prepare", "[" * 100_000, 400),
        ("/sign/prepare", "[]", 403),
        ("/sign/prepare", "{}", 403),
        ("/sign/complete", '{"token": 1}', 403),
        ("/passkey/begin", "x" * 300_000, 413),
        ("/passkey/finish", "null", 403),
    ],
)
def test_what_is_no_form_of_the_desk_signs_nothing(index, address, body, status):
    assert client(index).post(address, content=body).status_code == status


@pytest.mark.parametrize(
    "members",
    [
        {"visits": [], "verdict": "accepted"},
        {"visits": [{"visit": "x", "digest": "y"}], "verdict": "accepted"},
        {"visits": 1, "verdict": "accepted"},
        {"visits": [1], "verdict": "accepted"},
        {"visits": [{}], "verdict": "accepted", "key": "zz"},
        {"visits": [{}] * 501, "verdict": "accepted"},
    ],
)
def test_a_form_of_the_desk_with_odd_members_signs_nothing(index, members):
    browser, _, values = form(index)
    answer = browser.post("/sign/prepare", json={**members, "form_token": values["form_token"]})
    assert answer.status_code in {400, 404, 422}
