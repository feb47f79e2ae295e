"""What waits at the office comes to the device it is for, by the office's signed list, over a link that drops."""

import json

import pytest
from breaking_proxies import DroppingProxy, MeddlingProxy

from handsfree.handover.fetching import fetch
from handsfree.handover.outbox import Consignment, Outbox
from handsfree.handover.outbox_visits import question_about, without_sound
from handsfree.handover.package import unpacked
from handsfree.ledger import RecordVerdict, verify
from handsfree.ledger.files import Disk
from handsfree.problem import Problem


@pytest.fixture
def outbox(pair):
    return Outbox(pair.office / "handover" / "outbox")


def test_questions_sheets_procedures_and_last_visits_come_once(pair, served, outbox, tmp_path, monkeypatch):
    link = pair.link(served)
    device = link.key.credential.device
    name, question = question_about(pair.visits / "first", "Which nozzle did you find?")
    outbox.put(device, Consignment.QUESTION, name, question)
    outbox.put(device, Consignment.APPLIANCE, "appliance-24.yaml", b"appliance: 24\n" * 40_000)
    outbox.put(device, Consignment.VISIT, *without_sound(pair.visits / "second"))
    outbox.put("0" * 64, Consignment.PROCEDURE, "not-for-you.yaml", b"x")
    with DroppingProxy(int(served.rsplit(":", 1)[1]), every=8_000) as proxy:
        link.address = f"http://127.0.0.1:{proxy.port}"
        found = list(fetch(link, pair.enrolment(), tmp_path / "inbox"))
    assert [fetched.waiting.kind.value for fetched in found] == ["questions", "appliances", "visits"]
    asked = json.loads(found[0].file.read_bytes())
    assert (asked["visit"], asked["question"]) == ("first", "Which nozzle did you find?")
    assert found[1].file.read_bytes() == b"appliance: 24\n" * 40_000
    copy = unpacked(found[2].file, tmp_path / "last" / "second", found[2].waiting.digest)
    assert verify(copy).verdict == RecordVerdict.REDUCED
    link.address = served
    link.close()
    assert list(fetch(link, pair.enrolment(), tmp_path / "inbox")) == []
    assert len(list((outbox._folder / device / "fetched").rglob("*.*"))) == 3


def test_a_list_that_was_altered_or_kept_from_another_day_is_refused(pair, served, outbox, tmp_path):
    kept = []

    def altering(proxy, request):
        answer = proxy.deliver(request)
        return answer.replace(b"sheet.yaml", b"shift.yaml") if b"/outbox?" in request else answer

    def older(proxy, request):
        answer = proxy.deliver(request)
        if b"/outbox?" in request:
            kept.append(answer)
            return kept[0]
        return answer

    link = pair.link(served)
    outbox.put(link.key.credential.device, Consignment.APPLIANCE, "sheet.yaml", b"x")
    with (
        MeddlingProxy(int(served.rsplit(":", 1)[1]), altering) as proxy,
        pytest.raises(Problem, match="seal does not fit"),
    ):
        list(fetch(pair.link(f"http://127.0.0.1:{proxy.port}"), pair.enrolment(), tmp_path / "inbox"))
    with MeddlingProxy(int(served.rsplit(":", 1)[1]), older) as proxy:
        link = pair.link(f"http://127.0.0.1:{proxy.port}")
        assert len(list(fetch(link, pair.enrolment(), tmp_path / "inbox"))) == 1
        with pytest.raises(Problem, match="another time"):
            list(fetch(link, pair.enrolment(), tmp_path / "inbox"))


def test_names_that_lead_elsewhere_are_refused(outbox):
    for name in ("../x", "/x", ".hidden", ""):
        with pytest.raises(Problem, match="plain file name"):
            outbox.put("0" * 64, Consignment.APPLIANCE, name, b"x")


def test_a_file_is_on_the_disk_and_told_before_the_office_forgets_it(pair, served, outbox, tmp_path, monkeypatch):
    link, done = pair.link(served), []
    outbox.put(link.key.credential.device, Consignment.APPLIANCE, "sheet.yaml", b"x")
    ask, fsync, rename, folder = link.ask, Disk.fsync, Disk.rename, Disk.fsync_folder
    monkeypatch.setattr(link, "ask", lambda method, *rest: (done.append(method), ask(method, *rest))[1])
    monkeypatch.setattr(Disk, "fsync", lambda disk, at: (done.append("fsync"), fsync(disk, at))[1])
    monkeypatch.setattr(Disk, "rename", lambda disk, *names: (done.append("rename"), rename(disk, *names))[1])
    inbox = tmp_path / "inbox"
    monkeypatch.setattr(
        Disk,
        "fsync_folder",
        lambda disk, path: (done.append(path.name) if inbox in path.parents else None, folder(disk, path))[1],
    )
    fetching = fetch(link, pair.enrolment(), inbox)
    assert next(fetching).file.read_bytes() == b"x"
    assert [each for each in done if each != "GET"][-3:] == ["fsync", "rename", "appliances"]
    fetching.close()  # cut off before it was told
    assert len(list(fetch(link, pair.enrolment(), inbox))) == 1
    assert done[-1] == "DELETE"
