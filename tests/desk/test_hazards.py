"""Dangerous ends reach a person at once; each hazard has an owner until it is closed with words, both signed."""

import base64
import re
import shutil
import sys
from pathlib import Path

import pytest
from lists import NAMED, OFFICE, STRANGER, SUPERVISOR, enrol_devices
from starlette.testclient import TestClient

from handsfree.desk.alerting import AlertChannel, HazardAlerts
from handsfree.desk.checker import Checker
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.hazards import hazards_of_all
from handsfree.desk.index import Index, key_of
from handsfree.desk.site import Desk
from handsfree.ledger import state_folder
from handsfree.office.endorsements import kept_lines, read_endorsements
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Passkey, Role
from handsfree.office.hazards import standings
from handsfree.office.signatures import key_of_passkey
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.store.kept import Examined


@pytest.fixture(scope="module")
def examined(recorded_short, tmp_path_factory):
    """What the desk finds in the two visits, by name."""
    state = tmp_path_factory.mktemp("examined")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(state))
        enrol_devices(recorded_short, state)
        return {name: examine(recorded_short / name) for name in ("first", "second")}


@pytest.fixture
def index(short, examined):
    """Two visits that were stopped by a call and left off, examined."""
    made = Index(short)
    made.scan()
    for name, found in examined.items():
        made.keep(key_of(name), found)
    return made


def browser_of(index, signer=SUPERVISOR):
    return TestClient(Desk(index, Door(), signer).application(), base_url="http://127.0.0.1:8470")


def sent(browser, action, **members):
    page = browser.get("/hazards").text
    token = re.search(r'name="form_token" value="([^"]+)"', page)
    form = {"form_token": token[1] if token else "", **members}
    return browser.post(f"/hazards/{action}", data=form, follow_redirects=False)


def test_a_hazard_has_an_owner_until_it_is_closed_with_words(index):
    browser, (one, other) = browser_of(index), hazards_of_all(index)
    assert {one.kind, other.kind} == {"Stopped"}
    assert "2 open, 2 without an owner" in browser.get("/hazards").text
    assert sent(browser, "take", key=one.key, hazard=one.name, owner=NAMED).status_code == 303
    assert "2 open, 1 without an owner" in browser.get("/hazards").text
    assert "say what was done" in sent(browser, "close", key=one.key, hazard=one.name, words=" ").text
    done = "Went there, cock was closed, relit after the leak test"
    assert sent(browser, "close", key=one.key, hazard=one.name, words=done).status_code == 303
    page = browser.get("/hazards").text
    assert "1 open, 1 without an owner" in page
    assert done in page.split("1 closed")[1]
    again = sent(browser, "close", key=one.key, hazard=one.name, words="once more")
    assert again.status_code == 409


def test_what_is_said_of_a_hazard_is_signed_in_the_chain_of_the_verdicts(index):
    browser, (hazard, _) = browser_of(index), hazards_of_all(index)
    sent(browser, "take", key=hazard.key, hazard=hazard.name, owner=NAMED)
    sent(browser, "close", key=hazard.key, hazard=hazard.name, words="seen to")
    lines, listed = kept_lines(hazard.folder), known_enrolment()
    signed = read_endorsements(lines, hazard.identity, listed)
    assert [(each.kind, each.vouched, each.fault) for each in signed.lines] == [
        ("hazard-taken", True, ""),
        ("hazard-closed", True, ""),
    ]
    assert verify_anchored(hazard.folder, listed).ok
    changed = [lines[0].replace(NAMED.encode(), b"B. Somebody"), *lines[1:]]
    faulty = read_endorsements(changed, hazard.identity, listed)
    assert len(faulty.faults) == 2
    assert standings(faulty) == {}
    assert read_endorsements(lines[1:], hazard.identity, listed).faults


def test_only_an_enrolled_supervisor_takes_or_closes_and_only_one_of_the_list_owns(index):
    hazard = hazards_of_all(index)[0]
    assert "is not enrolled" in browser_of(index, STRANGER).get("/hazards").text
    browser = browser_of(index)
    told = sent(browser, "take", key=hazard.key, hazard=hazard.name, owner="B. Somebody").text
    assert "no enrolled supervisor is called" in told
    assert sent(browser, "take", key=hazard.key, hazard="stopped-9999", owner=NAMED).status_code == 409
    assert not kept_lines(hazard.folder)


def test_a_further_copy_of_a_visit_brings_no_further_hazard_and_what_was_signed_to_either_counts(index):
    first = next(one for one in hazards_of_all(index) if one.key == key_of("first"))
    sent(browser_of(index), "close", key=first.key, hazard=first.name, words="seen to")
    copy = shutil.copytree(index.root / "first", index.root / "copy")
    (copy / "endorsements.jsonl").unlink()
    index.scan()
    for key, folder in index.unchecked():
        index.keep(key, examine(folder))
    found = [one for one in hazards_of_all(index) if one.kind == "Stopped"]
    assert [one.standing.open for one in found] == [True, False]


def test_a_hazard_stands_while_its_visit_waits_cannot_be_read_or_is_broken(index, short):
    before = {one.told_as for one in hazards_of_all(index)}
    (short / "first" / "signoff.jsonl").touch()
    index.scan()
    assert {one.told_as for one in hazards_of_all(index)} == before
    page = browser_of(index).get("/hazards").text
    assert page.count("As last examined: the record has changed since") == 1
    assert "Of 1 visit it is not known whether it left one." in page  # the damaged one, never examined
    index.keep(key_of("first"), Examined({"seal": "unreadable", "sentence": "the disk is ill"}))
    assert {one.told_as for one in hazards_of_all(index)} == before
    assert browser_of(index).get("/hazards").text.count("As last examined") == 1
    index.keep(key_of("tampered"), examine(short / "tampered"))
    assert [one.kind for one in hazards_of_all(index)].count("Record broken") == 1


def test_a_visit_that_was_never_read_stands_there_as_unknown(index):
    """It had no row: a page without hazards said so, while nobody could know."""
    for key in (key_of("first"), key_of("second")):
        hazard = next(one for one in hazards_of_all(index) if one.key == key)
        sent(browser_of(index), "close", key=key, hazard=hazard.name, words="seen to")
    index.keep(key_of("tampered"), Examined({"seal": "unreadable", "sentence": "the disk is ill"}))
    page = browser_of(index).get("/hazards").text
    assert "No hazard is open." not in page
    assert "No hazard is known to be open. <strong>Of 1 visit it is not known" in page
    unknown = page.split('id="unknown"')[1]
    assert "Cannot be read" in unknown
    assert f'href="/visit/{key_of("tampered")}"' in unknown
    assert "the disk is ill" in unknown
    index.keep(key_of("tampered"), examine(index.root / "tampered"))
    assert 'id="unknown"' not in browser_of(index).get("/hazards").text


def test_a_passkey_is_asked_for_what_it_takes_or_closes_and_no_other_key_signs_for_it(index):
    """The supervisor's own key, not the desk's: the challenge is the digest of the statement."""
    passkey = Passkey("0a" * 16, "a40101032720062158200" + "0" * 63, "localhost")
    key = key_of_passkey(passkey)
    add(state_folder() / NAME, OFFICE, key=key, name="P. Example", role=Role.SUPERVISOR, passkey=passkey)
    browser, hazard = browser_of(index), hazards_of_all(index)[0]
    page = browser.get("/hazards").text
    assert "Close it with the passkey of P. Example" in page
    token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    asked = {"form_token": token, "key": hazard.key, "hazard": hazard.name, "passkey": key}
    assert "say what was done" in browser.post("/hazards/prepare", json={**asked, "words": ""}).text
    assert browser.post("/hazards/prepare", json={**asked, "words": "x", "passkey": "me"}).status_code == 422
    assert browser.post("/hazards/prepare", json={**asked, "words": "x", "hazard": "stopped-9"}).status_code == 409
    prepared = browser.post("/hazards/prepare", json={**asked, "words": "seen to"}).json()
    assert (prepared["name"], prepared["host"]) == ("P. Example", "localhost")
    assert len(base64.urlsafe_b64decode(prepared["challenge"] + "=")) == 32
    given = {"form_token": token, "token": prepared["token"]}
    assert browser.post("/sign/complete", json=given).status_code in {403, 422}
    assert not kept_lines(hazard.folder)


@pytest.fixture
def told(tmp_path):
    """A command of the office that writes what it is given; it fails while the file `broken` is there."""
    script, heard, broken = tmp_path / "tell.py", tmp_path / "heard", tmp_path / "broken"
    script.write_text(
        f"import pathlib, sys\n"
        f"pathlib.Path({str(broken)!r}).exists() and sys.exit(3)\n"
        f"open({str(heard)!r}, 'a').write('|'.join(sys.argv[1:]) + '\\n')\n"
    )
    return f"{sys.executable} {script}", heard, broken


def test_a_dangerous_end_is_told_at_once_and_once(index, told, tmp_path):
    command, heard, _ = told
    channel = AlertChannel(command, "A. Duty", "555 0100")
    HazardAlerts(index, channel, tmp_path / "kept").look()
    lines = heard.read_text().splitlines()
    assert len(lines) == 2
    assert all(line.startswith("A. Duty|555 0100|Stopped: ") and "Larkmoor 24" in line for line in lines)
    HazardAlerts(index, channel, tmp_path / "kept").look()
    assert len(heard.read_text().splitlines()) == 2


def test_an_alert_that_reaches_nobody_is_tried_again_and_told_in_the_inbox(index, told, tmp_path):
    command, heard, broken = told
    broken.touch()
    alerts = HazardAlerts(index, AlertChannel(command, "A. Duty"), tmp_path / "kept")
    alerts.look()
    assert alerts.illness == "A. Duty could not be alerted: the alert command ended with exit code 3"
    missing = HazardAlerts(index, AlertChannel("/nowhere/at-all", "A. Duty"), tmp_path / "kept")
    missing.look()
    assert "did not start" in missing.illness
    broken.unlink()
    alerts.look()
    assert alerts.illness == ""
    assert len(heard.read_text().splitlines()) == 2


def test_what_was_told_before_a_failure_is_not_told_again(index, tmp_path):
    tried = []

    class Failing(AlertChannel):
        def tell(self, text):
            tried.append(text)
            return "no line" if len(tried) == 2 else ""

    alerts = HazardAlerts(index, Failing("", "A. Duty"), tmp_path / "kept")
    alerts.look()
    assert alerts.illness == "A. Duty could not be alerted: no line"
    alerts.look()
    assert (alerts.illness, tried[1:]) == ("", [tried[1]] * 2)


def test_many_old_hazards_are_one_message(index, told, tmp_path, monkeypatch):
    monkeypatch.setattr("handsfree.desk.alerting.MOST_AT_ONCE", 1)
    command, heard, _ = told
    HazardAlerts(index, AlertChannel(command, "A. Duty"), tmp_path / "kept").look()
    assert len(heard.read_text().splitlines()) == 1
    assert "2 new hazards. The gravest: Stopped" in heard.read_text()


def test_the_checker_alerts_as_soon_as_a_visit_was_examined(short, told, tmp_path):
    command, heard, _ = told
    index = Index(short)
    checker = Checker(index, errands=[HazardAlerts(index, AlertChannel(command, "A. Duty"), tmp_path / "kept")])
    checker._sandbox = _Here()
    checker._look()
    kinds = [line.split("|")[2].split(":")[0] for line in heard.read_text().splitlines()]
    assert sorted(kinds) == ["Record broken", "Stopped", "Stopped"]


class _Here:
    """Examines in this process."""

    def do(self, folder: Path, *, where: str):
        assert where
        return examine(folder)
