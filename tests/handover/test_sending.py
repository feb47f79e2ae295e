"""Visits go to the office over links that break, double, reorder and lie; only a receipt is believed."""

import asyncio
import re
import shutil
import threading
from types import SimpleNamespace

import pytest
from breaking_proxies import DroppingProxy, MeddlingProxy
from closet import Closet, with_place
from lists import OFFICE, device_of
from starlette.requests import Request

from handsfree.desk.dossier import open_dossier
from handsfree.desk.photos import photos_of
from handsfree.desk.receiving import receive
from handsfree.handover import reception
from handsfree.handover.office_link import MOST_FAILURES, HttpAnswer
from handsfree.handover.office_site import receiver_key
from handsfree.handover.package import packed
from handsfree.handover.receipts import kept_receipt
from handsfree.handover.sending import SentAs
from handsfree.handover.uploads import Upload
from handsfree.ledger import verify
from handsfree.ledger.personal import names_of
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.objects.folder import ObjectFolder
from handsfree.objects.keeping import StoreFailed, fetch_visit
from handsfree.office.absences import GAP, findings
from handsfree.office.carried import carried
from handsfree.office.enrolling import add, begin
from handsfree.office.enrolment import NAME, Role
from handsfree.office.kept_key import open_key
from handsfree.office.log import checked_leaves
from handsfree.photo_file import kept_form
from handsfree.problem import Problem


def contents_of(folder):
    """Return every file of a record by its name."""
    return {
        str(file.relative_to(folder)): file.read_bytes() for file in sorted(folder.rglob("*")) if file.is_file()
    }


def leaves_of(pair):
    return list(checked_leaves(pair.office / "log", open_key(pair.office / "log.pem", None).public))


def heads(pair):
    return [leaf["digest"] for leaf in leaves_of(pair) if leaf["kind"] == "visit"]


def test_a_visit_arrives_verified_logged_and_receipted_and_a_second_time_is_known(pair, served):
    before = contents_of(pair.visits / "first")
    sender = pair.sender(served)
    sent = sender.send(pair.visits / "first")
    assert sent.how is SentAs.SENT
    assert sent.receipt.verdict == "closed"
    assert contents_of(pair.taken / "first") == before
    assert heads(pair) == [verify(pair.taken / "first").head.digest]
    # The record's own bytes are as they were; the receipt stands beside them.
    after = contents_of(pair.visits / "first")
    assert after.pop("receipt.json")
    assert after == before
    assert kept_receipt(pair.visits / "first", pair.enrolment()) == sent.receipt
    assert carried() == sent.receipt.checkpoint != ""  # for the first entry of the next visit
    assert set(sent.receipt.clips) == {file.stem for file in (pair.visits / "first" / "sound").iterdir()}
    assert verify(pair.visits / "first").remarks == verify(pair.taken / "first").remarks
    assert sender.send(pair.visits / "first").how is SentAs.THERE
    assert len(list(pair.taken.glob("[!.]*"))) == 1


def test_a_visit_with_a_photo_arrives_with_it(pair, served, tmp_path, monkeypatch):
    """Over the network, verified there: the picture is the one that was taken."""
    with monkeypatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(pair.state))
        closet = Closet(tmp_path)
        closet.photographs("plate", kept_form(with_place()))
        for words in ("plate read", "flue seen"):
            closet.says(words)
        folder = closet.finished()
        closet.recorder.release()
    sent = pair.sender(served).send(folder)
    assert (sent.how, sent.receipt.verdict) == (SentAs.SENT, "closed")
    (photo,) = photos_of(open_dossier(pair.taken / folder.name).evidence)
    assert photo.content(names_of(pair.taken / folder.name)) == kept_form(with_place())


def test_a_link_that_drops_every_40_kb_delivers_every_byte_once(pair, served):
    """A visit has four times that; no piece goes through whole at first."""
    port = int(served.rsplit(":", 1)[1])
    with DroppingProxy(port, every=40_000) as proxy:
        sent = pair.sender(f"http://127.0.0.1:{proxy.port}").send(pair.visits / "first")
    assert sent.how is SentAs.SENT
    assert proxy.dropped >= 3
    assert contents_of(pair.taken / "first") == {
        name: data for name, data in contents_of(pair.visits / "first").items() if name != "receipt.json"
    }


def method_of(request):
    return request.split(b" ", 1)[0].decode()


def doubling(proxy, request):
    """Deliver everything twice."""
    answer, second = proxy.deliver(request), proxy.deliver(request)
    assert second.startswith(b"HTTP/1.1 401") or b"GET /handover " in request
    return answer


class Reordering:
    """Holds back every second piece, breaks the link instead, and delivers it after a later one."""

    def __init__(self):
        self.held, self.count, self.late = None, 0, []

    def __call__(self, proxy, request):
        if method_of(request) == "PATCH":
            self.count += 1
            if self.count % 2:
                self.held = request
                return None
            answer = proxy.deliver(request)
            self.late.append(proxy.deliver(self.held).split(b"\r\n", 1)[0])
            return answer
        return proxy.deliver(request)


class Losing:
    """Delivers everything, but loses the answer to every second request."""

    def __init__(self):
        self.count = 0

    def __call__(self, proxy, request):
        self.count += 1
        answer = proxy.deliver(request)
        return answer if self.count % 2 else None


class Altering:
    """Changes one byte of the first three pieces on their way."""

    def __init__(self):
        self.count = 0

    def __call__(self, proxy, request):
        if method_of(request) == "PATCH" and self.count < 3:
            self.count += 1
            request = request[:-1] + bytes([request[-1] ^ 1])
        return proxy.deliver(request)


@pytest.mark.parametrize("meddling", [doubling, Reordering(), Losing()], ids=["doubles", "reorders", "loses"])
def test_a_link_that_meddles_leads_to_the_same_visit_once(pair, served, meddling):
    with MeddlingProxy(int(served.rsplit(":", 1)[1]), meddling) as proxy:
        sent = pair.sender(f"http://127.0.0.1:{proxy.port}").send(pair.visits / "first")
    assert sent.how is SentAs.SENT
    assert [folder.name for folder in pair.taken.glob("[!.]*")] == ["first"]
    assert verify(pair.taken / "first").verdict == "closed"
    assert len(heads(pair)) == 1
    if isinstance(meddling, Reordering):
        assert meddling.late
        assert all(b"204" not in line for line in meddling.late)


def test_a_piece_that_was_altered_on_its_way_is_refused(pair, served):
    """The signature covers its digest: the office says 401, not that it has it."""
    altering = Altering()
    with MeddlingProxy(int(served.rsplit(":", 1)[1]), altering) as proxy:
        sender = pair.sender(f"http://127.0.0.1:{proxy.port}")
        with pytest.raises(Problem, match="refuses this device"):
            sender.send(pair.visits / "first")
        assert sender.send(pair.visits / "first").how is SentAs.SENT
    assert verify(pair.taken / "first").verdict == "closed"


def lying(proxy, request):
    """Say that everything is fine and deliver nothing."""
    if b"GET /handover " in request:
        return proxy.deliver(request)
    offset = re.search(rb"upload-offset: (\d+)", request, re.IGNORECASE)
    length = len(request.split(b"\r\n\r\n", 1)[1])
    here = int(offset[1]) + length if offset else 0
    kind = {"PATCH": "204 No Content", "HEAD": "200 OK", "PUT": "201 Created"}.get(
        method_of(request), "404 Not Found"
    )
    body = b"{}\n" if kind.startswith("201") else b""
    return f"HTTP/1.1 {kind}\r\nUpload-Offset: {here}\r\nContent-Length: {len(body)}\r\n\r\n".encode() + body


def test_a_link_that_says_all_is_well_and_delivers_nothing_is_not_believed(pair, served):
    with (
        MeddlingProxy(int(served.rsplit(":", 1)[1]), lying) as proxy,
        pytest.raises(Problem, match="no receipt"),
    ):
        pair.sender(f"http://127.0.0.1:{proxy.port}").send(pair.visits / "first")
    assert not (pair.visits / "first" / "receipt.json").exists()
    assert not list(pair.taken.glob("[!.]*"))


def test_an_office_that_is_killed_between_goes_on(pair):
    """A new run of the office has another epoch: the same device signs anew and goes on where it was."""
    package = packed(pair.visits / "first", pair.device / "spool" / "visit.tar")
    with pair.serve() as first:
        sender = pair.sender(f"http://127.0.0.1:{first.port}")
        assert sender._begun(package) == 0
        assert sender._add(package, 0) > 0
        half = sender._offset(package)
    with pair.serve() as second:
        sender._link.address = f"http://127.0.0.1:{second.port}"
        sender._link.close()
        assert sender._offset(package) == half
        assert sender.send(pair.visits / "first").how is SentAs.SENT


def test_the_number_that_the_key_of_requests_took_is_declared_and_a_missing_visit_is_not(pair, served):
    """Of the device's numbers 0 and 1 are visits, 2 its credential: all there. Without the first, 0 is a gap."""
    sender = pair.sender(served)
    sender.send(pair.visits / "second")
    assert [found.name for found in findings(leaves_of(pair))] == [GAP]
    sender.send(pair.visits / "first")
    assert findings(leaves_of(pair)) == []
    assert sorted(leaf["use"] for leaf in leaves_of(pair) if "use" in leaf) == [0, 1, 2]


def test_an_open_visit_stays_on_the_device(pair, served):
    ledger = pair.visits / "first" / "ledger.jsonl"
    lines = ledger.read_bytes().split(b"\n")
    ends = [n for n, line in enumerate(lines) if b'"to_come":0' in line]
    ledger.write_bytes(b"\n".join(lines[: ends[3] + 1]) + b"\n")
    assert pair.sender(served).send(pair.visits / "first").how is SentAs.OPEN


def test_a_visit_that_does_not_verify_is_kept_as_evidence_and_its_receipt_says_so(pair, served):
    ledger = (pair.visits / "first" / "ledger.jsonl").read_text()
    clip = next(clip for clip in (pair.visits / "first" / "sound").iterdir() if f'"sound":"{clip.stem}"' in ledger)
    clip.write_bytes(clip.read_bytes() + b"x")
    sent = pair.sender(served).send(pair.visits / "first")
    assert sent.how is SentAs.SENT
    assert sent.receipt.verdict == "broken"
    assert sent.receipt.clips == ()
    assert sent.receipt.checkpoint == ""
    assert (pair.taken / "first").is_dir()


def test_a_stick_and_the_network_together_make_one_visit(pair, served):
    pair.sender(served).send(pair.visits / "first")
    fates = {arrival.source.name: str(arrival.fate) for arrival in receive(pair.visits, pair.taken)}
    assert fates == {"first": "already here", "second": "taken in"}


def test_a_stick_that_comes_while_the_office_runs_makes_one_visit_too(pair, served):
    """The office has read what is there; then another program takes visits in."""
    assert [str(arrival.fate) for arrival in receive(pair.visits, pair.taken / "north")] == ["taken in"] * 2
    sent = pair.sender(served).send(pair.visits / "first")
    assert sent.how is SentAs.SENT
    assert len(sent.receipt.clips) > 0
    assert sorted(str(file.relative_to(pair.taken)) for file in pair.taken.rglob("ledger.jsonl")) == [
        "north/first/ledger.jsonl", "north/second/ledger.jsonl"
    ]  # fmt: skip


def test_a_receipt_is_not_given_for_a_visit_that_has_gone_from_the_office(pair, served):
    """Somebody deleted it there: the device sends it again."""
    sender = pair.sender(served)
    sender.send(pair.visits / "first")
    shutil.rmtree(pair.taken / "first")
    assert sender.send(pair.visits / "first").how is SentAs.SENT
    assert (pair.taken / "first").is_dir()


def test_a_visit_that_cannot_be_packed_is_refused_by_itself(pair, served):
    visit = pair.visits / "first"
    (visit / "sound" / ("0" * 64)).symlink_to("/etc/hostname")
    sender = pair.sender(served)
    sent = sender.send(visit)
    assert sent.how is SentAs.REFUSED
    assert sent.says
    assert sender.send(pair.visits / "second").how is SentAs.SENT


def test_an_office_that_is_long_at_it_is_asked_until_it_is_done(pair, served, monkeypatch):
    """Others are before this visit: 202 comes more often than a link may fail."""
    sender = pair.sender(served)
    ask, at_it = sender._link.ask, [HttpAnswer(202, {}, b"")] * (2 * MOST_FAILURES)

    def asked(method, target, *more):
        return at_it.pop() if method == "PUT" and at_it else ask(method, target, *more)

    monkeypatch.setattr(sender._link, "ask", asked)
    assert sender.send(pair.visits / "first").how is SentAs.SENT
    assert not at_it


def test_however_many_visits_wait_the_office_goes_on_answering(pair, tmp_path, monkeypatch):
    """More than the 40 threads that anyio's documentation gives as its default."""
    go_on = threading.Event()
    monkeypatch.setattr(reception, "PATIENCE_S", 0.001)
    intake = pair.intake()
    monkeypatch.setattr(intake, "take", lambda *_: go_on.wait(60) and b"receipt")
    (tmp_path / "x").write_bytes(b"x")
    uploads = SimpleNamespace(find=lambda *_: Upload(tmp_path / "x", "0" * 64, 1))
    desk = reception.Reception(intake, uploads, None, None)

    async def put(number):
        scope = {"type": "http", "method": "PUT", "path_params": {"package": f"{number:064x}"},
                 "query_string": b"", "headers": [], "state": {"device": "", "credential": None}}  # fmt: skip
        return (await asyncio.wait_for(desk._visit(Request(scope)), 5)).status_code

    async def evening():
        try:
            return [await put(number) for number in range(45)]
        finally:
            go_on.set()

    assert asyncio.run(evening()) == [202] * 45
    intake.close()


def test_a_visit_is_laid_into_the_office_that_its_device_belongs_to(pair):
    """Else a supervisor of that office never sees it; a second time it is known there."""
    (pair.office / NAME).unlink()
    begin(pair.office / NAME, OFFICE, "The office of Larkmoor")
    add(pair.office / NAME, OFFICE, key=device_of(pair.visits / "first"), name="tablet", role=Role.DEVICE,
        offices=("north",), valid_from=BEFORE_THE_PROGRAM)  # fmt: skip
    add(pair.office / NAME, OFFICE, key=receiver_key(pair.office).public, name="counter", role=Role.RECEIVER,
        valid_from=BEFORE_THE_PROGRAM)  # fmt: skip
    server = pair.serve()
    with server:
        sender = pair.sender(f"http://127.0.0.1:{server.port}")
        assert sender.send(pair.visits / "first").how is SentAs.SENT
        (pair.visits / "first" / "receipt.json").unlink()
        assert sender.send(pair.visits / "first").how is SentAs.THERE
    server.site.intake.close()
    assert verify(pair.taken / "north" / "first").ok
    assert list(pair.taken.glob("[!.]*")) == [pair.taken / "north"]


def test_what_arrives_is_kept_as_an_object_before_its_receipt_goes_out(pair, tmp_path, monkeypatch):
    """While the store of objects fails no receipt goes out, and the device asks again."""
    store, fails = ObjectFolder(tmp_path / "objects"), [StoreFailed("the store is full")] * 3
    store.begin()

    def put(self, archive, digest):
        if fails:
            raise fails.pop()
        return original(self, archive, digest)

    original = ObjectFolder.put
    monkeypatch.setattr(ObjectFolder, "put", put)
    server = pair.serve(objects=store)
    with server:
        sent = pair.sender(f"http://127.0.0.1:{server.port}").send(pair.visits / "first")
    server.site.intake.close()
    assert not fails
    assert sent.how is SentAs.SENT
    assert list(store.digests()) == [sent.receipt.package]
    fetch_visit(store, sent.receipt.package, tmp_path / "again")
    assert contents_of(tmp_path / "again") == contents_of(pair.taken / "first")
