"""What the office made of a visit forgets a person with it: store, Parquet, kept answers, pages, paper."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from lists import OFFICE, device_of, list_of
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.api.webhooks import WebhookEvent, Webhooks
from handsfree.commands.app import app
from handsfree.commands.erasing import _stores
from handsfree.demo.play import scenario_files
from handsfree.desk.customer_pdf import NAME as PAPER
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import Index, embedded_file, key_of
from handsfree.desk.site import Desk
from handsfree.events import inputs as inp
from handsfree.hearing.enrolment.keeping import KeptVoice, Voices
from handsfree.ledger import DeviceKey
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME as LIST
from handsfree.office.enrolment import Role
from handsfree.office.kept_key import make_key
from handsfree.problem import Problem
from handsfree.shipped import procedure_path
from handsfree.store import opening
from handsfree.store.kept import KeptAnswer
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

PERSON = "Ines Demoville"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Where the visit of these tests lies: it is recorded once, and forgotten last."""
    return tmp_path_factory.mktemp("forgetting")


@pytest.fixture(autouse=True)
def machine(place, monkeypatch):
    """The office's machine: its state and its cache."""
    for name, folder in (("HANDSFREE_STATE", "state"), ("XDG_CACHE_HOME", "cache")):
        monkeypatch.setenv(name, str(place / folder))


@pytest.fixture
def visits(place):
    """A folder with one visit that a hazard word stopped, its device and a supervisor enrolled."""
    if (place / "visits").exists():
        return place / "visits"
    state = place / "state"
    DeviceKey(state, uses=8).public_key()
    plan, kept = load_plan(procedure_path("safe-isolation"), scenario_files()[0])
    folder = place / "visits" / "one"
    recorder, _ = Recorder.begin(folder, plan, kept)
    for at, words in ((1_000, "told"), (9_000, "stop stop stop")):
        recorder.take(inp.SpeechEnded(at=at))
        recorder.take(inp.Typed(at=at + 5_000, text=words))
    recorder.release()
    (place / "words").write_text("correct horse battery")
    key = make_key(place / "me.pem", "correct horse battery").public
    add(list_of(state / LIST, [device_of(folder)]), OFFICE, key=key, name="T. Demo", role=Role.SUPERVISOR)
    return folder.parent


def everything_under(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in folder.rglob("*") if file.is_file())


def test_names_and_comments_of_the_job_sheet_are_not_kept_in_clear(visits):
    """The sheet is kept with commitments in their place, and is still one."""
    text = (visits / "one" / "sources" / "jobsheet.yaml").read_text()
    assert text.count("personal:") == 2
    assert "#" not in text
    assert PERSON not in text
    assert "serial: LM24A0173" in text


@pytest.mark.slow("a whole erasure: store, Parquet, pages and answers, 2 s")
def test_the_office_forgets_a_person_on_one_command(visits, place):
    """Before it the name is in the store's file, the list, the page and the answers; after it no byte of it is."""
    index, key = Index(visits), key_of("one")
    index.scan()
    index.keep(key, examine(visits / "one"))
    index.store.keep_answer("who", KeptAnswer(1, "2026-11-28", PERSON.encode()))
    assert index.store.rows_of("SELECT technician FROM visit")[1] == [(PERSON,)]
    assert index.store.known("technician") == [PERSON]
    pages = TestClient(Desk(index, Door(), None).application(), base_url="http://127.0.0.1:8470")
    assert all(PERSON in pages.get(page).text for page in ("/", f"/visit/{key}"))
    assert PERSON.encode() in embedded_file(visits).read_bytes()
    (visits / "one" / PAPER).write_bytes(PERSON.encode())
    (visits / "damaged").mkdir()
    (visits / "damaged" / "ledger.jsonl").write_bytes(b"nothing of ours\n")
    told = Webhooks(place / "state")
    told.add("planning", "https://example.org/told", [WebhookEvent.STOPPED])
    told.notice(replace(index.store.one(key), seal="closed", outcome="stopped"))
    assert PERSON.encode() in (place / "state" / "webhooks.sqlite").read_bytes()

    Voices(place / "state").keep(KeptVoice(PERSON, "boom headset", "abc", "2026-11-28", ()))

    given = ("--person", PERSON, "--reason", "asked for", "--key", str(place / "me.pem"))
    words = ("--passphrase-file", str(place / "words"))
    ran = CliRunner().invoke(app, ["erase", str(visits), *given, *words])
    assert "2 pieces and 0 sounds are erased" in ran.output
    assert "enrolments of this voice deleted from this device: 1" in ran.output
    assert Voices(place / "state").kept() == ()
    assert isinstance(ran.exception, Problem), "one record here is damaged, and keeps no other from being erased"
    shutil.rmtree(visits / "damaged")
    assert PERSON.encode() not in (place / "state" / "webhooks.sqlite").read_bytes()
    assert "has forgotten 1 visits" in ran.output

    index.scan()
    index.keep(key, examine(visits / "one"))
    assert index.store.rows_of("SELECT technician FROM visit")[1] == [("(no longer here)",)]
    assert index.store.known("technician") == ["(no longer here)"]
    assert index.store.answer("who") is None
    assert not any(PERSON in pages.get(page).text for page in ("/", f"/visit/{key}"))
    assert PERSON.encode() not in everything_under(visits) + everything_under(place / "cache")
    assert "by T. Demo, reason: asked for" in pages.get(f"/visit/{key}").text


def test_a_shared_store_forgets_a_visit_by_whatever_folder_its_desks_show(place, monkeypatch, capsys):
    """They know it by its name beneath their root, which may lie above the folder that is named here."""
    asked = []

    class Shared:
        def erase(self, keys):
            asked.extend(keys)
            return True

        def close(self):
            pass

    monkeypatch.setattr(opening, "open_store", lambda _address: Shared())
    folder = place / "company" / "north" / "one"
    folder.mkdir(parents=True)
    _stores(folder, [folder], "postgresql://example.org/visits")
    assert {key_of("north/one"), key_of("one")} <= set(asked)
    _stores(folder, [folder], "")
    assert "no desk's store of these visits is known here" in capsys.readouterr().out
