"""What the office made of a visit forgets a person with it: store, Parquet, kept answers, pages, paper."""

from pathlib import Path

import pytest
from lists import OFFICE, device_of, list_of
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.demo.play import scenario_files
from handsfree.desk.customer_pdf import NAME as PAPER
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import Index, embedded_file, key_of
from handsfree.desk.site import Desk
from handsfree.events import inputs as inp
from handsfree.ledger import DeviceKey
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME as LIST
from handsfree.office.enrolment import Role
from handsfree.office.kept_key import make_key
from handsfree.shipped import procedure_path
from handsfree.store.kept import KeptAnswer
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

PERSON = "Ines Demoville"


@pytest.fixture
def visits(tmp_path, monkeypatch):
    """A folder with one visit that a hazard word stopped, its device and a supervisor enrolled."""
    state = tmp_path / "state"
    for name, place in (("HANDSFREE_STATE", state), ("XDG_CACHE_HOME", tmp_path / "cache")):
        monkeypatch.setenv(name, str(place))
    DeviceKey(state, uses=8).public_key()
    plan, kept = load_plan(procedure_path("safe-isolation"), scenario_files()[0])
    folder = tmp_path / "visits" / "one"
    recorder, _ = Recorder.begin(folder, plan, kept)
    for at, words in ((1_000, "told"), (9_000, "stop stop stop")):
        recorder.take(inp.SpeechEnded(at=at))
        recorder.take(inp.Typed(at=at + 5_000, text=words))
    recorder.release()
    (tmp_path / "words").write_text("correct horse battery")
    key = make_key(tmp_path / "me.pem", "correct horse battery").public
    add(list_of(state / LIST, [device_of(folder)]), OFFICE, key=key, name="T. Demo", role=Role.SUPERVISOR)
    return folder.parent


def everything_under(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in folder.rglob("*") if file.is_file())


def test_the_office_forgets_a_person_on_one_command(visits, tmp_path):
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

    given = ("--person", PERSON, "--reason", "asked for", "--key", str(tmp_path / "me.pem"))
    words = ("--passphrase-file", str(tmp_path / "words"))
    ran = CliRunner().invoke(app, ["erase", str(visits), *given, *words], catch_exceptions=False)
    assert (ran.exit_code, "2 pieces and 0 sounds are erased" in ran.output) == (0, True)
    assert "has forgotten 1 visits" in ran.output

    index.scan()
    index.keep(key, examine(visits / "one"))
    assert index.store.rows_of("SELECT technician FROM visit")[1] == [("(no longer here)",)]
    assert index.store.known("technician") == ["(no longer here)"]
    assert index.store.answer("who") is None
    assert not any(PERSON in pages.get(page).text for page in ("/", f"/visit/{key}"))
    assert PERSON.encode() not in everything_under(visits) + everything_under(tmp_path / "cache")
    assert "by T. Demo, reason: asked for" in pages.get(f"/visit/{key}").text


def test_names_and_comments_of_the_job_sheet_are_not_kept_in_clear(visits):
    """The sheet is kept with commitments in their place, and is still one."""
    text = (visits / "one" / "sources" / "jobsheet.yaml").read_text()
    assert text.count("personal:") == 2
    assert "#" not in text
    assert PERSON not in text
    assert "serial: LM24A0173" in text
