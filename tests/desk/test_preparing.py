"""Tomorrow's jobs on the desk: the questions of the interviews as forms, and maker's data that two people sign."""

from __future__ import annotations

import html
import json
import re
from decimal import Decimal
from pathlib import Path

import pytest
from lists import OFFICE, SUPERVISOR, list_of
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.signing_in import SignedInDesks
from handsfree.desk.site import Desk
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, EnrolledKey, Role
from handsfree.office.kept_key import make_key
from handsfree.procedure.sheets import load_sheets
from handsfree.trades.combustion import sheets as combustion

MAKERS = Path(__file__).parents[2] / "handsfree" / "demo" / "appliance-24.yaml"
DEVICE = "van 3"

JOB = {
    "job": (" ", "J-77"), "site": ("", "Orchard House"), "technician/name": ("", "Ines Demoville"),
    "technician/licence": ("", "invented 12345"), "serial": ("", "SN1"),
    "altitude_metre": ("four hundred", "400 ft"), "alert?": ("perhaps", "yes"), "alert/who": ("x", "the office"),
    "alert/number": ("1", "0555 0100"), "second_person?": ("maybe", "no"), "instruments/1?": ("one", "no"),
    "emergency_number": ("", "0555 0112"), "sound": ("sometimes", "ask"), "photos": ("a few", "none"),
    "next_visit": ("in a year", "20/11/2027"), "fuel": ("", "natural gas"),
    "instrument/name": ("", "Analyser"), "instrument/serial": ("", "FG1"),
    "instrument/calibrated_until": ("05/06/2027", "30/06/2027"), "instrument/shows?": ("nein", "no"),
    "instrument/co2": ("calculated", "computed"), "instrument/co2_uncertainty": ("three tenths", "0.3"),
    "instrument/o2_uncertainty": ("0.3 bar", "0.3"), "instrument/co_uncertainty": ("twenty", "20"),
    "instrument/uncertainty_source": ("", "class limits"), "meter/unit": ("gallons", "m3"),
    "meter/heating_value": ("38 ft", "38.0"), "meter/basis": ("nett", "gross"), "meter/source": ("", "the bill"),
    "tighter?": ("-", "no"),
}  # fmt: skip
"""Path of a question -> a wrong answer, where there is one, and the right one."""


@pytest.fixture
def office(tmp_path, monkeypatch):
    """An office with a device and two authors on its list, and the invented maker's data for every device."""
    state = tmp_path / "state"
    monkeypatch.setenv("HANDSFREE_STATE", str(state))
    listed = list_of(state / NAME, [])
    for name, role in ((DEVICE, Role.DEVICE), ("writer", Role.AUTHOR), ("second", Role.AUTHOR)):
        key = make_key(tmp_path / f"{name}.pem", None).public
        add(listed, OFFICE, key=key, name=name, role=role, valid_from=BEFORE_THE_PROGRAM)
    makers = tmp_path / "outgoing" / "all" / "appliances"
    makers.mkdir(parents=True)
    (makers / MAKERS.name).write_bytes(MAKERS.read_bytes())
    (tmp_path / "visits").mkdir()
    return tmp_path


DOOR = Door()
FAULT = re.compile("cannot stand|This needs an answer")


@pytest.fixture
def browser(office):
    return client(desk_of(office))


def desk_of(office, **more):
    index = Index(office / "visits", office / "index.sqlite", enrolment=office / "state" / NAME)
    return Desk(index, DOOR, **{"signer": SUPERVISOR, **more}, outgoing=office / "outgoing")


def client(desk):
    return TestClient(desk.application(), base_url="http://127.0.0.1:8470", follow_redirects=True)


def begun(browser, **said):
    """Begin a sheet and return the address of its form."""
    reply = browser.post("/prepare/begin", data={"form_token": DOOR.form_token(), **said})
    assert reply.status_code == 200, reply.text
    return reply.url.path


def job_begun(browser, visit="commissioning"):
    return begun(browser, sheet="job", device=DEVICE, visit=visit, appliance=MAKERS.name)


def post(browser, address, answers, then="keep"):
    """Send the form with these answers, by the path of each question."""
    data = {f"answer:{path}": text for path, text in answers.items()}
    return browser.post(address, data={"form_token": DOOR.form_token(), "then": then, **data})


def questions(page):
    """Return path -> what the page says at the question."""
    told = re.split(r'<div class="question" data-path="', page)[1:]
    return {html.unescape(one.split('"')[0]): html.unescape(re.sub(r"<[^>]+>", " ", one)) for one in told}


def test_a_job_of_nothing_but_wrong_answers_loses_none_of_them(office, browser):
    """Each stays as it was written with its own sentence, also at another desk; then all are righted."""
    address = job_begun(browser)
    wrong = {path: one for path, (one, _) in JOB.items() if one}
    hanging = {path for path in wrong if path.endswith("?")}  # what is asked next hangs on these
    told = questions(post(browser, address, {path: wrong[path] for path in hanging}).text)
    assert {path for path, one in told.items() if FAULT.search(one)} == hanging
    post(browser, address, {path: JOB[path][1] if path in hanging else one for path, one in wrong.items()})
    assert len(wrong) >= 20
    later = client(desk_of(office))
    shown = questions(later.get(address).text)
    assert {path for path, one in shown.items() if FAULT.search(one)} == {
        path for path in wrong if not path.endswith("?")
    }
    refused = post(later, address, {}, "ready")
    assert refused.status_code == 422
    assert not (office / "outgoing" / DEVICE).exists()
    reply = post(later, address, {path: right for path, (_, right) in JOB.items()}, "ready")
    assert reply.status_code == 200, [
        one for one in questions(reply.text).values() if "stand" in one or "yet" in one
    ]
    assert "j-77.yaml" in reply.text
    sheets, _ = load_sheets(office / "outgoing" / DEVICE / "jobs" / "j-77.yaml")
    assert isinstance(sheets, combustion.CombustionSheets)
    assert sheets.job.altitude_metre == Decimal("121.92")
    assert sheets.job.meter is not None
    assert sheets.job.photos == "none"


APPLIANCE = {
    "appliance": ("", "Invented 30"), "manual/file": ("", "invented-30.pdf"), "manual/revision": ("", "B"),
    "wait_after_change_seconds": ("soon", "180"),
    "hold_minutes": ("9.5", "30"),
    "times_seconds?": ("perhaps", "no"),
    "basis": ("brutto", "gross"), "fuels/name 1": ("", "natural gas"),
    "fuels/natural gas/co2/maximum?": ("ja", "yes"),
    "fuels/natural gas/co2/maximum/low": ("nine", "8.9"),
    "fuels/natural gas/co2/maximum/high": ("9.9 mbar", "9.9"),
    "fuels/natural gas/co2/maximum/page": ("p. 41", "41"), "fuels/natural gas/co2/minimum?": ("si", "no"),
    "adjusters/minimum?": ("two", "no"),
    "fuels/natural gas/between_rates?": ("both", "no"), "fuels/natural gas/co?": ("x", "yes"),
    "fuels/natural gas/co/basis": ("dry", "air-free"), "fuels/natural gas/co/high": ("a lot", "200"),
    "fuels/natural gas/co/page": ("last", "43"), "fuels/natural gas/standing_pressure?": ("oui", "yes"),
    "fuels/natural gas/standing_pressure/low": ("4 ft", "4 in w.c."),
    "fuels/natural gas/standing_pressure/high": ("14 lb", "14 in w.c."),
    "fuels/natural gas/standing_pressure/page": ("thirty", "37"), "adjustment": ("allow it", "allowed"),
}  # fmt: skip
"""As a manual gives it; what is not named here is left out."""


def filled(browser, address, answers):
    """Answer what is named, and every other question by what stands when nothing is written."""
    for _ in range(12):
        page = browser.get(address).text
        fields = dict(re.findall(r'name="answer:([^"]+)" value="([^"]*)"', page))
        chosen = re.findall(r'name="answer:([^"]+)"[^>]*>\s*((?:<option.*?</option>\s*)+)', page, re.DOTALL)
        fields |= {name: (re.findall(r"<option[^>]* selected>(.*?)<", told) or [""])[0] for name, told in chosen}
        now = {path: answers.get(path, ("", text))[1] for path, text in fields.items()}
        reply = post(browser, address, now, "ready")
        if reply.status_code == 200:
            return reply.text
    return pytest.fail(" ".join(one for one in questions(reply.text).values() if "yet" in one or "stand" in one))


def signs(office, file, who):
    reply = CliRunner().invoke(
        app, ["appliance", str(file), "--sign", "--key", str(office / f"{who}.pem")], input="y\n" * 50
    )
    assert reply.exit_code == 0, reply.output


def send(browser, name):
    return browser.post("/prepare/send", data={"form_token": DOOR.form_token(), "file": name})


def test_makers_data_is_a_draft_until_two_people_have_signed_it(office, browser):
    """Twenty wrong answers are told; one signature is not enough; a figure changed later is another version."""
    address = begun(browser, sheet="appliance", trade="combustion", visit="combustion-check")
    wrong = {path: one for path, (one, _) in APPLIANCE.items() if one}
    assert len(wrong) >= 20
    post(browser, address, {**{path: right for path, (_, right) in APPLIANCE.items()}, **wrong})
    shown = questions(browser.get(address).text)
    assert {path for path, one in shown.items() if FAULT.search(one)} == {path for path in wrong if path in shown}
    assert 'Without co2 these gates say "no limit loaded"' in shown["fuels/natural gas/co2/maximum?"]
    assert "a draft" in filled(browser, address, APPLIANCE)
    made, sent = (
        office / "outgoing" / one / "invented-30.yaml" for one in ("being-written/appliances", "all/appliances")
    )
    assert "nobody has signed it" in send(browser, made.name).text
    signs(office, made, "writer")
    assert "only writer has signed it" in send(browser, made.name).text
    assert not sent.exists()
    assert made.name not in browser.get("/prepare").text.split('name="appliance"')[1].split("</select>")[0]
    signs(office, made, "second")
    assert "goes to every device; every figure held against the manual by writer and by second" in (
        " ".join(send(browser, made.name).text.split())
    )
    assert sent.read_bytes() == made.read_bytes()
    assert sent.with_name("invented-30.checked.jsonl").exists()
    filled(browser, address, APPLIANCE | {"manual/revision": ("", "C")})
    assert "version: 1.0.1" in made.read_text("utf-8")
    assert "version: 1.0.0" in sent.read_text("utf-8")
    assert "nobody has signed it" in send(browser, made.name).text


def test_a_band_that_is_upside_down_is_told_at_its_figures(browser):
    address = begun(browser, sheet="appliance", trade="combustion", visit="")
    right = {path: right for path, (_, right) in APPLIANCE.items()}
    page = post(browser, address, right | {"fuels/natural gas/co2/maximum/low": "10.9"}).text
    assert "low must be below high" in questions(page)["fuels/natural gas/co2/maximum/low"]


def test_what_earlier_visits_to_the_serial_know_is_offered(short, tmp_path):
    """With the day it is from, once the serial is given; nothing of a person. A broken record offers nothing."""
    index = Index(short, tmp_path / "index.sqlite", enrolment=tmp_path / "state" / NAME)
    index.scan()
    for key, folder in index.unchecked():
        index.keep(key, examine(folder))
    before = index.store.one(index.key_of(short / "first"))
    makers = tmp_path / "outgoing" / "all" / "appliances"
    makers.mkdir(parents=True)
    (makers / MAKERS.name).write_bytes(MAKERS.read_bytes())
    browser = client(Desk(index, DOOR, SUPERVISOR, outgoing=tmp_path / "outgoing"))
    address = begun(browser, sheet="job", device="tablet 1", visit="combustion-check", appliance=MAKERS.name)
    assert "On the job sheet of" not in browser.get(address).text
    page = post(browser, address, {"serial": before.serial}).text
    offered = {path for path, one in questions(page).items() if f"On the job sheet of {before.day}" in one}
    assert {"site", "altitude_metre", "fuel"} <= offered
    assert not [path for path in offered if path.startswith(("technician", "instrument", "next_visit", "sound"))]
    assert f'value="{before.site}"' in page


def test_nobody_prepares_for_the_devices_of_another_office(office):
    """Who looks after one office sees its devices and drafts alone, and sends no maker's data to all."""
    listed, key = office / "state" / NAME, make_key(office / "north.pem", None).public
    add(
        listed,
        OFFICE,
        key=key,
        name="van north",
        role=Role.DEVICE,
        valid_from=BEFORE_THE_PROGRAM,
        offices=["north"],
    )
    address = job_begun(client(desk_of(office)))
    who = EnrolledKey(SUPERVISOR.key, "N", Role.SUPERVISOR, BEFORE_THE_PROGRAM, offices=("north",))
    north = client(desk_of(office, signer=None, person=who))
    page = north.get("/prepare").text
    assert "van north" in page
    assert DEVICE not in page
    assert north.get(address).status_code == 404
    assert post(north, address, {"job": "J-1"}).status_code == 404
    reply = north.post("/prepare/begin", data={
        "form_token": DOOR.form_token(), "sheet": "job", "device": DEVICE, "visit": "commissioning",
        "appliance": MAKERS.name,
    })  # fmt: skip
    assert "is no device that you can prepare jobs for" in reply.text
    assert "goes to the devices of every office" in send(north, "invented-30.yaml").text


def test_who_has_not_signed_in_sees_and_keeps_nothing(office):
    index = Index(office / "visits", office / "index.sqlite", enrolment=office / "state" / NAME)
    address = job_begun(client(desk_of(office)))
    stranger = client(SignedInDesks(index, DOOR, outgoing=office / "outgoing"))
    assert stranger.get(address).url.path == "/sign-in"
    assert post(stranger, address, {"job": "J-1"}).status_code == 401
    assert "J-1" not in client(desk_of(office)).get(address).text


def test_a_form_of_another_site_and_a_draft_that_is_none_are_refused(office, browser):
    address = job_begun(browser)
    assert browser.post(address, data={"form_token": "x", "answer:job": "J-1"}).status_code == 403
    assert browser.get("/prepare/0000000000000000").status_code == 404
    assert browser.get("/prepare/..%2F..%2Fstate").status_code == 404
    draft = office / "outgoing" / "being-written" / f"{address.rpartition('/')[2]}.json"
    assert json.loads(draft.read_text("utf-8"))["answers"] == {}
    draft.write_text("{", "utf-8")
    assert f"{draft}: this draft cannot be read" in html.unescape(browser.get("/prepare").text)
    assert browser.get(address).status_code == 422


def test_two_jobs_of_one_number_do_not_overwrite_each_other(office, browser):
    """A second form of the same job is refused in a sentence; the first may be changed and laid ready again."""
    first, second = job_begun(browser), job_begun(browser)
    filled(browser, first, JOB)
    data = {f"answer:{path}": right for path, (_, right) in JOB.items()}
    reply = browser.post(second, data={"form_token": DOOR.form_token(), "then": "ready", **data})
    assert "a sheet of this name is there already" in reply.text
    laid = office / "outgoing" / DEVICE / "jobs"
    filled(browser, first, JOB | {"site": ("", "Meadow House")})
    assert load_sheets(laid / "j-77.yaml")[0].job.site == "Meadow House"
    filled(browser, first, JOB | {"job": ("", "J-78")})
    assert sorted(file.name for file in laid.iterdir()) == [MAKERS.name, "j-78.yaml"]
