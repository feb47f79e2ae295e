"""The office sends by itself: a returned visit's question, next jobs with last visits of their serial, bundles."""

import json
import shutil
from hashlib import sha256
from pathlib import Path

import pytest
from lists import SUPERVISOR
from starlette.testclient import TestClient

from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.preparing import Preparing
from handsfree.desk.site import Desk
from handsfree.handover.dispatch import Dispatch
from handsfree.handover.fetching import fetch
from handsfree.handover.office_site import outbox_folder
from handsfree.handover.outbox import Outbox
from handsfree.handover.package import unpacked
from handsfree.ledger import RecordVerdict, verify
from handsfree.office.enrolment import Role
from handsfree.procedure.sheets import load_sheets

MAKERS = Path(__file__).parents[2] / "handsfree" / "demo" / "appliance-24.yaml"
REMARK = "Which nozzle did you find?\nAnd who fitted it?"


@pytest.fixture
def office(pair, served, tmp_path):
    """The desk's index over two visits that came by network, the office's errand, and a way to fetch."""
    sender = pair.sender(served)
    for name in ("first", "second"):
        assert sender.send(pair.visits / name).receipt
    index = Index(pair.taken, tmp_path / "desk.sqlite")
    index.scan()
    for key, folder in index.unchecked():
        index.keep(key, examine(folder))
    dispatch = Dispatch(index, Outbox(outbox_folder(pair.office)), pair.office / "handover", tmp_path / "outgoing")

    def fetched():
        dispatch.look()
        return {
            f"{one.waiting.kind.value}/{one.file.name}": one.file
            for one in fetch(pair.link(served), pair.enrolment(), tmp_path / "inbox")
        }

    return index, dispatch, fetched


def return_with_a_question(index, name):
    """As the page does it, over HTTP; what is signed is a real signature."""
    browser = TestClient(Desk(index, Door(), SUPERVISOR).application(), base_url="http://127.0.0.1:8470")
    key = index.key_of(index.root / name)
    page = browser.get(f"/visit/{key}").text
    hidden = {one: page.split(f'name="{one}" value="')[1].split('"')[0] for one in ("form_token", "digest")}
    form = {**hidden, "verdict": "returned", "remark": REMARK}
    assert browser.post(f"/visit/{key}/sign-off", data=form, follow_redirects=False).status_code == 303


def test_a_visit_that_is_returned_asks_its_technician_once(office):
    """Also when the office's machine died between signing and asking, and forgets how far it had read."""
    index, dispatch, fetched = office
    assert fetched() == {}
    return_with_a_question(index, "first")
    (file,) = fetched().values()
    asked = json.loads(file.read_bytes())
    assert (asked["visit"], asked["question"]) == ("first", " ".join(REMARK.split()))
    dispatch._kept.unlink()
    assert fetched() == {}


def test_the_next_job_goes_with_its_sheet_and_the_last_visits_of_its_serial(office, pair, tmp_path):
    """To the device it is for, and a bundle to every device; each once, and again when its content has changed."""
    index, dispatch, fetched = office
    (device,) = (one for one in pair.enrolment().of(Role.DEVICE))
    serial = index.store.one(index.key_of(pair.taken / "first")).serial
    outgoing, other = tmp_path / "outgoing", tmp_path / "outgoing" / "tablet 99" / "jobs"
    mine, bundles = outgoing / device.name / "jobs", outgoing / "all" / "procedures"
    for folder in (mine, other, bundles):
        folder.mkdir(parents=True)
    (mine / "friday.yaml").write_text(f"handsfree: 1\njob: J7\nserial: {serial}\nappliance: appliance-24.yaml\n")
    (mine / "appliance-24.yaml").write_text("handsfree: 1\nmodel: L24\n")
    (other / "not-for-you.yaml").write_text("job: J8\nserial: X\n")
    (bundles / "two-rate-combustion.bundle").write_bytes(b"signed\n")
    found = fetched()
    visits = [file for name, file in found.items() if name.startswith("visits/")]
    assert set(found) - {f"visits/{file.name}" for file in visits} == {
        "jobs/friday.yaml", "jobs/appliance-24.yaml", "procedures/two-rate-combustion.bundle",
    }  # fmt: skip
    assert len(visits) == 2
    copy = unpacked(visits[0], tmp_path / "last" / "one", sha256(visits[0].read_bytes()).hexdigest())
    assert verify(copy).verdict == RecordVerdict.REDUCED
    assert fetched() == {}
    (bundles / "two-rate-combustion.bundle").write_bytes(b"signed again\n")
    assert list(fetched()) == ["procedures/two-rate-combustion.bundle"]
    assert dispatch.illness == ""


def test_a_sheet_that_is_none_is_told_with_its_place_and_stops_nothing_else(office, pair, tmp_path):
    _, dispatch, fetched = office
    (device,) = (one for one in pair.enrolment().of(Role.DEVICE))
    jobs = tmp_path / "outgoing" / device.name / "jobs"
    jobs.mkdir(parents=True)
    (jobs / "bad.yaml").write_text("job: [\n")
    (jobs / "good.yaml").write_text("job: J7\nserial: unknown\n")
    assert list(fetched()) == ["jobs/good.yaml"]
    assert "bad.yaml:" in dispatch.illness


def test_a_job_prepared_on_the_desk_arrives_with_its_makers_data_and_is_a_sheet(office, pair, tmp_path):
    """From the form to the device, where both sheets are read as a visit reads them."""
    index, _, fetched = office
    makers = tmp_path / "outgoing" / "all" / "appliances"
    makers.mkdir(parents=True)
    shutil.copy(MAKERS, makers)
    (device,) = (one for one in pair.enrolment().of(Role.DEVICE))
    preparing = Preparing(index, tmp_path / "outgoing", lambda: None)
    name = preparing.begin_job(device.name, "combustion-check", MAKERS.name)
    answers = {
        "job": "J-9", "site": "Orchard House", "technician/name": "Ines Demoville", "technician/licence": "none 1",
        "serial": "SN9", "fuel": "natural gas", "instrument/name": "Analyser", "instrument/serial": "FG1",
        "instrument/calibrated_until": "30/06/2027", "instrument/co2": "measured", "alert/who": "the office",
        "alert/number": "0555 0100",
    }  # fmt: skip
    preparing.drafts.answer(name, answers)
    form = preparing.form(preparing.own(name))
    preparing.drafts.answer(name, {one.path: one.answer for one in form.questions if one.is_open})
    form = preparing.form(preparing.own(name))
    assert (form.open, form.wrong) == (0, 0), [one.path for one in form.questions if one.is_open or one.fault]
    preparing.finish(name, preparing.own(name), form)
    found = fetched()
    assert {"jobs/j-9.yaml", f"jobs/{MAKERS.name}"} <= set(found)
    assert load_sheets(found["jobs/j-9.yaml"])[0].job.serial == "SN9"
