"""The pages over HTTP: what they show, what they refuse, and that nothing of a record becomes code."""

import json
import shutil
from datetime import datetime, timedelta

import pytest
from desk_client import client
from lists import NAMED, OFFICE, STRANGER
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.desk import claims
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import key_of
from handsfree.ledger import state_folder
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME as NAME_OF_LIST
from handsfree.office.enrolment import Role
from handsfree.store.kept import Examined


def test_the_list_and_the_page_show_a_tampered_visit_as_broken(index, short):
    """On both, in words."""
    for key, folder in index.unchecked():
        index.keep(key, examine(folder))
    page = client(index).get("/").text
    row = next(part for part in page.split("<tr") if key_of("tampered") in part)
    assert "Broken" in row
    text = client(index).get(f"/visit/{key_of('tampered')}").text
    assert "Broken" in text
    assert "was changed" in text or "changed" in text
    assert "can be signed off" in text
    assert "nothing can be concluded" in text
    assert 'name="verdict"' not in text
    del short


def test_a_record_tampered_with_after_the_index_was_built_is_shown_as_broken(index, short):
    """The folders are the truth: the page verifies what is there now."""
    key = key_of("first")
    browser = client(index)
    assert "Whole and closed" in browser.get(f"/visit/{key}").text
    shutil.copy(short / "tampered" / "ledger.jsonl", short / "first" / "ledger.jsonl")
    assert "Broken" in browser.get(f"/visit/{key}").text


def test_a_sound_changed_in_place_is_shown_as_broken(index, short):
    """Each clip is part of the record."""
    clip = next((short / "first" / "sound").iterdir())
    clip.write_bytes(clip.read_bytes()[:-1] + b"x")
    assert "Broken" in client(index).get(f"/visit/{key_of('first')}").text


def test_filters_and_search_find_what_they_name_only(index):
    """By words, outcome, day; a percent sign is a sign."""
    browser = client(index)
    for query, count in (
        ("words=larkmoor", 3),
        ("words=%25", 0),
        ("since=2999-01-01", 0),
        ("technician=nobody", 0),
    ):
        assert f"{count} found" in browser.get(f"/?{query}").text, query
    assert browser.get("/?page=99999999&sort=';drop").status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "/visit/../../etc/passwd",
        "/visit/%2e%2e%2f%2e%2e",
        "/visit/{key}/sound/..%2fledger.jsonl",
        "/visit/{key}/sound/%2e%2e%2f%2e%2e%2fledger.jsonl",
        "/visit/{key}/sound/" + "0" * 64 + ".flac",
        "/visit/{key}/sound/ledger.flac",
        "/assets/../site.py",
        "/assets/%2e%2e/site.py",
        "/visit/0123456789abcdef",
        "/across/../../x.csv",
    ],
)
def test_paths_that_lead_out_find_nothing(index, path):
    """Nothing outside a visit's own sound is served."""
    answer = client(index).get(path.replace("{key}", key_of("first")))
    assert answer.status_code == 404
    assert "import" not in answer.text


def test_a_link_in_the_sound_folder_is_not_followed(index, short):
    """A clip is a file."""
    secret = short.parent / "secret"
    secret.write_text("secret")
    name = "a" * 64
    (short / "first" / "sound" / f"{name}.flac").symlink_to(secret)
    assert client(index).get(f"/visit/{key_of('first')}/sound/{name}.flac").status_code == 404


def test_a_clip_is_served_whole_and_in_parts(index, short):
    """As FLAC, with ranges so that a browser can seek."""
    clip = next((short / "first" / "sound").iterdir())
    url = f"/visit/{key_of('first')}/sound/{clip.name}"
    whole = client(index).get(url)
    assert whole.content == clip.read_bytes()
    assert whole.headers["content-type"] == "audio/flac"
    part = client(index).get(url, headers={"range": "bytes=0-3"})
    assert (part.status_code, part.content) == (206, b"fLaC")


def test_every_answer_carries_the_headers_that_keep_a_page_to_itself(index):
    """Pages, files and refusals alike."""
    for path in ("/", "/assets/desk.css", "/nothing"):
        headers = client(index).get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
    assert client(index, host="evil.example").get("/").headers["referrer-policy"] == "same-origin"


def test_another_name_that_points_here_is_refused(index):
    """A site cannot reach the desk by a name of its own (DNS rebinding)."""
    assert client(index, host="evil.example").get("/").status_code == 421


def served(monkeypatch):
    """Let a server stand still; return the list of what it was given to run."""
    ran = []

    class Server:
        port = 4711

        def __init__(self, _, tls=None):
            self.run = ran.append

    monkeypatch.setattr("handsfree.serving.Server", Server)
    monkeypatch.setattr("handsfree.serving.listen", lambda *_: None)
    return ran


@pytest.mark.parametrize(
    ("host", "printed"),
    [
        ("127.0.0.1", "http://localhost:4711/"),
        ("::1", "http://localhost:4711/"),
        ("127.0.0.2", "http://127.0.0.2:4711/"),
    ],
)
def test_the_desk_prints_a_name_that_passkeys_can_be_made_for(short, monkeypatch, host, printed):
    """And answers to it."""
    ran = served(monkeypatch)
    result = CliRunner().invoke(app, ["desk", str(short), "--host", host])
    assert result.stdout.splitlines() == [printed]
    assert (
        TestClient(ran[0], base_url=printed, raise_server_exceptions=False).get("/assets/desk.css").status_code
        == 200
    )


def test_over_a_network_the_desk_answers_only_encrypted_and_notes_who_asked_for_what(short, monkeypatch):
    """A line for each answer, also for one who is kept out; never the token, which an address holds."""
    result = CliRunner().invoke(app, ["desk", str(short), "--host", "0.0.0.0"])
    assert "over a network the desk answers only encrypted" in str(result.exception)
    ran = served(monkeypatch)
    given = ["desk", str(short), "--host", "0.0.0.0", "--name", "desk.example", "--tls"]
    printed = CliRunner().invoke(app, given).stdout.strip()
    browser = TestClient(ran[0], base_url="https://desk.example", client=("10.0.0.7", 50_000))
    assert browser.get("/").status_code == 401
    assert browser.get("/" + printed.split("/", 3)[3]).status_code == 200
    log, refused = state_folder() / "desk-access.jsonl", state_folder() / "desk-refused.jsonl"
    lines = [json.loads(line) for file in (refused, log) for line in file.read_text().splitlines()]
    assert [(one["from"], one["method"], one["path"], one["status"]) for one in lines] == [
        ("10.0.0.7", "GET", "/", 401),
        ("10.0.0.7", "GET", "/enter", 303),
        ("10.0.0.7", "GET", "/", 200),
    ]
    assert printed.split("token=")[1] not in log.read_text()
    plain = TestClient(ran[0], base_url="http://desk.example", client=("10.0.0.7", 50_000))  # the port takes both
    for address in ("/" + printed.split("/", 3)[3], "/api/v1/openapi.json"):
        answer = plain.get(address, follow_redirects=False)
        assert (answer.status_code, "Ask with https" in answer.text) == (403, True), address
    entered = TestClient(ran[0], base_url="https://desk.example").get(
        "/" + printed.split("/", 3)[3], follow_redirects=False
    )
    assert "secure" in entered.headers["set-cookie"].lower()
    log.unlink()
    log.mkdir()
    answer = browser.get("/")
    assert (answer.status_code, "cannot be written" in answer.text) == (503, True)
    assert "Inbox" not in answer.text


def test_who_looks_at_a_visit_is_told_to_others_until_it_is_signed_or_time_is_over(index, short, monkeypatch):
    """Two desks over one store, each with a supervisor's own key."""
    add(state_folder() / NAME_OF_LIST, OFFICE, key=STRANGER.key, name="B. Second", role=Role.SUPERVISOR)
    one, other = client(index), client(index, signer=STRANGER)
    first, second = key_of("first"), key_of("second")
    one.get(f"/visit/{first}")
    assert "Being looked at" not in one.get("/").text
    assert f"Being looked at by {NAMED}" in other.get("/").text
    assert f"Being looked at by {NAMED}." in other.get(f"/visit/{first}").text
    assert "Being looked at by B. Second." in one.get(f"/visit/{first}").text  # both know
    led_to = other.get("/next", follow_redirects=False).headers["location"]
    assert led_to != f"/visit/{first}"
    one.get(f"/visit/{second}")
    with monkeypatch.context() as later:
        later.setattr(claims, "datetime", Later)
        assert "Being looked at" not in other.get("/").text
    index.signed([short / "second"], "accepted")
    assert "Being looked at" not in other.get(f"/visit/{second}").text


class Later(datetime):
    """The real clock, ten minutes on."""

    @classmethod
    def now(cls, tz=None):
        return datetime.now(tz) + timedelta(minutes=10)


def test_elsewhere_than_on_loopback_a_token_is_asked(index):
    """Nothing is shown without it, nor with a wrong one; with it a cookie stands for it."""
    door = Door(hosts=frozenset({"desk.example"}), token="right")
    for path in (
        "/",
        "/assets/desk.css",
        f"/visit/{key_of('first')}",
        "/enter?token=wrong",
        "/enter?token=%C3%A9",
    ):
        assert client(index, door, "desk.example").get(path).status_code == 401
    browser = client(index, door, "desk.example")
    assert browser.get("/enter?token=right").status_code == 200
    assert "Visits" in browser.get("/").text
    cookie = browser.cookies.get("desk")
    assert cookie
    assert "right" not in cookie


def test_what_a_record_holds_never_becomes_markup(index, short):
    """A job sheet with markup in it is shown as text, on the list as well."""
    ledger = short / "first" / "ledger.jsonl"
    lines = ledger.read_bytes().split(b"\n")
    lines[0] = lines[0].replace(b"Orchard House", b"<script>alert(1)</script>")
    ledger.write_bytes(b"\n".join(lines))
    index.scan()
    page = client(index).get("/").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
    assert "<script>alert" not in client(index).get(f"/visit/{key_of('first')}").text


def test_a_folder_that_cannot_be_read_as_a_visit_says_so(index, short):
    """On the list, and on its page, without a traceback."""
    (short / "junk").mkdir()
    (short / "junk" / "ledger.jsonl").write_text("junk\n")
    index.scan()
    assert "Cannot be read" in client(index).get("/").text
    assert client(index).get(f"/visit/{key_of('junk')}").status_code == 422


def test_a_name_that_a_spreadsheet_would_run_is_quoted_in_csv(index):
    """CSV injection: such cells begin with an apostrophe (OWASP)."""
    index.keep(key_of("first"), Examined({"technician": "=1+1", "identity": "x", "seal": "closed"}))
    text = client(index).get("/across/right-first-time.csv").text
    assert "'=1+1" in text


@pytest.mark.parametrize("name", ["host", "origin"])
def test_a_host_that_cannot_be_read_is_refused(index, name):
    """An opening bracket gave an internal error."""
    assert client(index).get("/", headers={name: "http://127.0.[0.1"}).status_code in {400, 421}
