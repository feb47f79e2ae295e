"""Other programs are told once, signed, again while they fail, and nobody waits for them."""

import http.server
import json
import sqlite3
import threading
import time
from dataclasses import replace

import pytest

from handsfree.api.webhooks import FILE, PAUSES_S, WebhookEvent, Webhooks, signature
from handsfree.desk.index import Index
from handsfree.problem import Problem
from handsfree.store.embedded import open_embedded
from handsfree.store.kept import Examined, NotedVisit

EVERYTHING = list(WebhookEvent)


class Told(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        self.server.got.append((dict(self.headers), body))
        self.send_response(self.server.statuses.pop(0) if self.server.statuses else 200)
        self.end_headers()

    def log_message(self, *_):
        pass


@pytest.fixture
def other():
    with http.server.HTTPServer(("127.0.0.1", 0), Told) as server:
        server.got, server.statuses = [], []
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
        server.url = f"http://127.0.0.1:{server.server_port}/told"
        yield server
        server.shutdown()


class Clock:
    now = 1_800_000_000.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def hooks(tmp_path, clock):
    return Webhooks(tmp_path / "state", clock=clock)


def test_the_signature_is_the_published_one():
    """The example of the specification's own libraries (Standard Webhooks, README and test suites)."""
    assert (
        signature("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330,
                  b'{"test": 2432232314}')
        == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
    )  # fmt: skip


def test_closed_stopped_and_signed_are_told_once(hooks, store, other):
    secret = hooks.add("crm", other.url, EVERYTHING)
    stopped, finished = store.one(f"{0:016x}"), store.one(f"{1:016x}")
    accepted = replace(finished, signed="accepted")
    for row in (stopped, finished, finished, accepted, accepted):
        hooks.notice(row)
    assert hooks.deliver() == 3
    told = [json.loads(body) for _, body in other.got]
    assert [message["type"] for message in told] == ["stopped", "closed", "signed"]
    assert told[2]["data"]["verdict"] == "accepted"
    for headers, body in other.got:
        at = int(headers["webhook-timestamp"])
        assert headers["webhook-signature"] == signature(secret, headers["webhook-id"], at, body)
    assert hooks.deliver() == 0


@pytest.mark.parametrize(
    ("outcome", "event"),
    [("finished", "closed"), ("incomplete", "closed"), ("stopped", "stopped"), ("made-safe", "stopped"),
     ("left-as-reported", "stopped"), ("open", None)],
)  # fmt: skip
def test_every_ending_is_told_as_what_it_is(hooks, store, other, outcome, event):
    """The endings that a record can have: events/decisions/ends.py."""
    hooks.add("crm", other.url, EVERYTHING)
    hooks.notice(replace(store.one(f"{1:016x}"), outcome=outcome))
    hooks.deliver()
    assert [json.loads(body)["type"] for _, body in other.got] == ([event] if event else [])


@pytest.mark.parametrize("signed", ["", "accepted"])
def test_a_broken_record_is_not_told(hooks, store, other, signed):
    hooks.add("crm", other.url, EVERYTHING)
    hooks.notice(replace(store.one(f"{1:016x}"), seal="broken", signed=signed))
    assert hooks.deliver() == 0


def test_who_fails_is_told_again_at_longer_and_longer_intervals_then_given_up(hooks, store, other, clock):
    hooks.add("crm", other.url, EVERYTHING)
    other.statuses = [500] * (len(PAUSES_S) + 1)
    hooks.notice(store.one(f"{1:016x}"))
    for pause in PAUSES_S:
        assert hooks.deliver() == 0
        clock.now += pause - 1
        count = len(other.got)
        hooks.deliver()
        assert len(other.got) == count  # not yet
        clock.now += 1
    assert hooks.deliver() == 0
    (hook,) = hooks.all()
    assert (hook.waiting, hook.fault) == (1, "it answered 500")
    assert len({headers["webhook-id"] for headers, _ in other.got}) == 1
    clock.now += 10**9
    hooks.deliver()
    assert len(other.got) == len(PAUSES_S) + 1


def test_what_was_not_delivered_goes_out_after_a_restart(hooks, store, other, tmp_path, clock):
    hooks.add("crm", other.url, [WebhookEvent.STOPPED])
    hooks.notice(store.one(f"{0:016x}"))
    hooks.notice(store.one(f"{1:016x}"))  # closed: not asked for
    again = Webhooks(tmp_path / "state", clock=clock)
    assert again.deliver() == 1


def test_noticing_does_not_wait_for_who_hangs(hooks, store, tmp_path):
    """Nobody listens behind this address: a connection would hang or fail."""
    hooks.add("crm", "https://192.0.2.1/told", EVERYTHING)  # RFC 5737: goes nowhere
    began = time.process_time()
    for number in range(50):
        hooks.notice(store.one(f"{number:016x}"))
    assert time.process_time() - began < 5
    assert hooks.all()[0].waiting == 50


@pytest.mark.parametrize("url", ["http://example.org/x", "ftp://example.org", "nothing"])
def test_it_goes_by_https_alone(hooks, url):
    with pytest.raises(Problem):
        hooks.add("crm", url, EVERYTHING)


BAD = ["https://crm.example.org:80800/told", "https://crm.example.org/töld", "https://[x", "https://x:y/"]


@pytest.mark.parametrize("url", BAD)
def test_what_can_be_no_address_is_refused_with_a_remedy(hooks, url):
    with pytest.raises(Problem) as caught:
        hooks.add("crm", url, EVERYTHING)
    assert caught.value.remedy


@pytest.mark.parametrize("url", BAD)
def test_an_address_kept_by_an_earlier_version_keeps_nobody_else_from_being_told(
    hooks, store, other, tmp_path, url
):
    hooks.add("bad", other.url, EVERYTHING)
    with sqlite3.connect(tmp_path / "state" / FILE) as base:
        base.execute("UPDATE hook SET url = ?", (url,))
    hooks.add("crm", other.url, EVERYTHING)
    hooks.notice(store.one(f"{1:016x}"))
    assert hooks.deliver() == 1
    bad, _ = hooks.all()
    assert (bad.waiting, bool(bad.fault)) == (1, True)


def test_the_thread_outlives_what_goes_wrong(hooks, monkeypatch):
    taken = threading.Event()

    def fails_once():
        monkeypatch.setattr(hooks, "deliver", taken.set)
        hooks._wake.set()
        raise UnicodeError

    monkeypatch.setattr(hooks, "deliver", fails_once)
    hooks.start()
    assert taken.wait(10)
    hooks.stop()


def test_an_index_tells_of_each_visit_that_is_examined_or_signed(store, tmp_path, hooks, other):
    index = Index(tmp_path, store=store)
    index.changed = hooks.notice
    hooks.add("crm", other.url, EVERYTHING)
    facts = {"outcome": "finished", "seal": "closed", "identity": "1" * 64, "checksum": "x"}
    index.keep(f"{1:016x}", Examined(facts))
    assert hooks.deliver() == 1


def test_what_another_program_examined_is_told_and_what_was_there_before_is_not(hooks, store, other):
    """A command beside the desk keeps a visit in the same store: the desk's own examination never sees it."""
    hooks.add("crm", other.url, EVERYTHING)
    hooks.follow(store)
    assert hooks.deliver() == 0
    key, facts = f"{500:016x}", {"outcome": "finished", "seal": "closed", "identity": "f" * 64, "checksum": "x"}
    store.note([NotedVisit(key, "500", "", {"job": "late"})])
    store.keep(key, Examined(facts))
    hooks.follow(store)
    hooks.follow(store)
    assert hooks.deliver() == 1
    assert json.loads(other.got[0][1])["data"]["job"] == "late"


def test_what_another_desk_signed_is_told_once(hooks, store, other):
    """Each desk has its own list of whom it tells; both keep their visits in one store."""
    hooks.add("crm", other.url, EVERYTHING)
    key, facts = f"{500:016x}", {"outcome": "finished", "seal": "closed", "identity": "f" * 64, "checksum": "x"}
    store.note([NotedVisit(key, "500", "", {"job": "late"})])
    store.keep(key, Examined(facts))
    hooks.follow(store)
    before = store.state()
    store.signed(key, "accepted", "", "")
    assert store.state() == before, "no answer to a question changed"
    hooks.follow(store)
    hooks.follow(store)
    assert hooks.deliver() == 1
    assert json.loads(other.got[0][1])["type"] == "signed"


def test_a_store_made_anew_is_told_of_only_where_it_was_not_told_before(hooks, store, other, tmp_path):
    """Another mark, all revisions from the start."""
    hooks.add("crm", other.url, EVERYTHING)
    hooks.follow(store)
    again = open_embedded(tmp_path / "again.sqlite")
    for number in (1, 500):  # the first was there before
        key, facts = f"{number:016x}", {"outcome": "finished", "seal": "closed", "identity": f"{number:064x}"}
        again.note([NotedVisit(key, f"{number}", "", {})])
        again.keep(key, Examined({**facts, "checksum": f"{number}"}))
    hooks.follow(again)
    assert hooks.deliver() == 1
    again.close()
