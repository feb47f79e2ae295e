"""The pages over HTTP: what they show, what they refuse, and that nothing of a record becomes code."""

import json
import re
import shutil
from datetime import datetime, timedelta

import pytest
from lists import NAMED, OFFICE, STRANGER, SUPERVISOR, list_of
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.desk import claims
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import Index, key_of
from handsfree.desk.site import Desk
from handsfree.ledger import state_folder
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME as NAME_OF_LIST
from handsfree.office.enrolment import Role
from handsfree.store.kept import Examined


@pytest.fixture
def index(short):
    made = Index(short)
    made.scan()
    return made


def client(index, door=None, host="127.0.0.1", signer=SUPERVISOR):
    return TestClient(Desk(index, door or Door(), signer).application(), base_url=f"http://{host}:8470")


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
