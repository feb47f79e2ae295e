"""A folder of visits is anybody's: nothing in it hangs the desk, leads it elsewhere or hides another visit."""

import json
import os
import shutil
import socket
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from hostile_work import hostile
from lists import NAMED, STRANGER, SUPERVISOR, known_supervisor

from handsfree.desk import checker as checking
from handsfree.desk.checker import Checker
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.receiving import Fate, receive
from handsfree.desk.signoff import sign_offs
from handsfree.ledger import Ledger, read, verify
from handsfree.office.endorsing import prepare_sign_offs, supervisor
from handsfree.office.enrolment import EnrolledKey, Role
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.problem import Problem, one_line
from handsfree.sandbox import Sandbox
from handsfree.store.wanted import ListWanted
from handsfree.visit.replaying import replay_of

PATIENCE_S = 60


def within_patience(work):
    """Return what the work returns; fail when it hangs."""
    found = []
    thread = threading.Thread(target=lambda: found.append(work()), daemon=True)
    thread.start()
    thread.join(PATIENCE_S)
    assert not thread.is_alive(), "it hangs"
    return found[0] if found else None


def first_line(folder, change):
    """Alter the first line of a record; `change` takes and returns its members."""
    ledger = folder / "ledger.jsonl"
    first, rest = ledger.read_bytes().split(b"\n", 1)
    ledger.write_bytes(json.dumps(change(json.loads(first))).encode() + b"\n" + rest)


def pipe(folder):
    (folder / "ledger.jsonl").unlink()
    os.mkfifo(folder / "ledger.jsonl")


def a_socket(folder):
    (folder / "ledger.jsonl").unlink()
    here = Path.cwd()
    os.chdir(folder)  # the name of a socket is short
    try:
        with socket.socket(socket.AF_UNIX) as bound:
            bound.bind("ledger.jsonl")
    finally:
        os.chdir(here)


def a_link(folder):
    (folder / "ledger.jsonl").rename(folder / "elsewhere")
    (folder / "ledger.jsonl").symlink_to(folder / "elsewhere")


def no_object(folder):
    first_line(folder, lambda line: {**line, "event": []})


def brackets(folder):
    (folder / "ledger.jsonl").write_bytes(b"[" * 100_000 + b"\n")


def huge_number(folder):
    ledger = folder / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes() + b'{"seq":' + b"9" * 30 + b"}\n")


def half_a_letter(folder):
    first_line(folder, lambda line: {**line, "event": {**line["event"], "site": "\ud800"}})


def endless_line(folder):
    with (folder / "ledger.jsonl").open("r+b") as stream:
        stream.truncate(700_000_000)  # sparse: it takes no room


ATTACKS = [pipe, a_socket, a_link, no_object, brackets, huge_number, half_a_letter, endless_line]


@pytest.fixture
def poisoned(short):
    """A folder with one sound visit, one copy for each attack, and one whose name is no Unicode."""
    for attack in ATTACKS:
        shutil.copytree(short / "first", short / attack.__name__)
        attack(short / attack.__name__)
    os.rename(os.fsencode(short / "first"), os.fsencode(short) + b"/caf\xe9")  # noqa: PTH104 - no Path has such a name
    return short


@pytest.mark.slow("six sick folders, each in a program of its own")
def test_poisoned_folders_are_set_aside_with_their_reason_and_hide_no_other(poisoned):
    """R3: most of these ended the scan, so that the page showed no visit at all; a pipe was not shown itself."""
    index = Index(poisoned)
    assert index.scan() == len(ATTACKS) + 3
    checker = Checker(index)
    checker.start()
    within_patience(lambda: all_examined(index))
    checker.stop()
    assert checker.illness == ""
    rows = {row.folder: row for row in index.store.find(ListWanted())[0]}
    for sound in (b"second", b"caf\xe9"):
        assert rows[sound].seal == "closed"
    for attack in ATTACKS:
        row = rows[attack.__name__.encode()]
        assert row.seal in {"unreadable", "broken", "open"}, attack
        assert row.sentence


def all_examined(index):
    """Wait until nothing is unchecked."""
    while index.unchecked(1):
        threading.Event().wait(0.1)


@pytest.mark.slow("records are verified by programs of their own")
def test_a_scan_that_fails_is_told_and_tried_again(short, monkeypatch):
    """The scanner is watched: its illness stands on the page until a scan succeeds."""
    monkeypatch.setattr(checking, "LOOK_AGAIN_S", 0.2)
    index = Index(short)
    kept, index.root = index.root, short / "gone"
    checker = Checker(index)
    checker.start()
    within_patience(lambda: until(lambda: checker.illness))
    assert "FileNotFoundError" in checker.illness
    index.root = kept
    within_patience(lambda: until(lambda: not checker.illness))
    checker.stop()
    assert index.store.tally().get("closed", 0) >= 1


def until(holds):
    """Wait until it holds."""
    while not holds():
        threading.Event().wait(0.05)


def forged(folder, short, **facts):
    """Seal a record of one's own whose opening says what one likes, over the sources of a true visit."""
    opened = next(iter(read(short / "first"))).event
    sources = {path.name: path.read_bytes() for path in (short / "first" / "sources").iterdir()}
    event = {name: value for name, value in opened.items() if name not in {"sources", "utc_offset"}}
    ledger = Ledger.create(folder, {**event, **facts}, sources=sources)
    ledger.append([("typed", {"at": 1, "text": "told"})])
    ledger.release()
    shutil.copytree(short / "first" / "personal", folder / "personal", dirs_exist_ok=True)
    return folder


@pytest.mark.parametrize(
    "facts",
    [
        {"day": "=cmd|calc"},
        {"procedure": "a\0b"},
        {"procedure": "../../../etc/hostname"},
        {"schema_version": 2, "procedure": "../first/sources/safe-isolation"},
        {"schema_version": 10**12},
        {"trade": "../../x"},
    ],
)
def test_sealed_but_hostile_facts_are_told_and_break_nothing(short, tmp_path, facts):
    """R3: each broke `verify` with a traceback, or opened a file outside the visit."""
    folder = forged(tmp_path / "forged", short, **facts)
    report = verify(folder, replay=replay_of(folder))
    assert report.sentence
    told = " ".join([report.sentence, *report.remarks])
    assert ("no plain name" in told) == ("procedure" in facts)
    index = Index(tmp_path)
    index.scan()


def test_only_plain_files_are_taken_in(short, tmp_path):
    """D9: a link in `sources` copied a private file onto the desk; a pipe for a ledger hung it."""
    private = tmp_path / "private.txt"
    private.write_text("secret")
    source = next((short / "first" / "sources").iterdir())
    source.unlink()
    source.symlink_to(private)
    pipe(short / "second")
    here = tmp_path / "here"
    found = within_patience(lambda: {each.source.name: each for each in receive(short, here)})
    assert found["first"].fate == found["second"].fate == Fate.REFUSED
    assert "plain file" in found["first"].sentence
    assert not [path for path in here.rglob("*") if path.is_file() and b"secret" in path.read_bytes()]
    assert found["tampered"].fate == Fate.FAULTY


def test_a_folder_of_links_is_refused(short, tmp_path):
    """Its sound or sources may lie in another visit, or anywhere."""
    shutil.move(short / "first" / "sources", tmp_path / "sources")
    (short / "first" / "sources").symlink_to(tmp_path / "sources")
    with pytest.raises(Problem, match="link"):
        verify(short / "first")


@pytest.mark.slow("records are verified by programs of their own")
def test_escape_sequences_do_not_become_names(short, tmp_path):
    """D9: what a terminal obeys was taken over as the name of a folder."""
    (short / "first").rename(short / "\x1b[2Jfirst\nsecond: closed")
    for arrival in receive(short, tmp_path / "here"):
        if arrival.folder:
            assert arrival.folder.name.isprintable()


def test_no_name_forges_a_line(short):
    """R9: a line end in a stray file's name made a line of its own in what `verify` prints."""
    (short / "first" / "x\nsecond: closed: all is well").write_text("")
    report = verify(short / "first")
    assert any("no part of the record" in remark for remark in report.remarks)
    assert all(one_line(remark) == remark for remark in report.remarks)
    assert "\n" not in Problem("a\nb", where="c\x1b[2Jd").sentence()


def test_a_form_token_that_is_no_ascii_is_simply_not_ours():
    """R9: it gave an internal error."""
    assert not Door(hosts=frozenset({"localhost"})).form_is_ours("é\ud800")


def signed(folder, key=SUPERVISOR, enrolment=None, verdict="accepted", remark=""):
    """Sign a visit and return who signed it, as its own lines say."""
    enrolment = enrolment or known_enrolment()
    who = supervisor(enrolment, key.key)
    report = verify_anchored(folder, known_enrolment())
    prepare_sign_offs([report], who, enrolment, verdict=verdict, remark=remark).signed(key)


def verdicts(folder):
    return [(one.by, one.verdict) for one in sign_offs(verify(folder), known_enrolment())]


@pytest.mark.slow("records are verified by programs of their own")
def test_a_later_sign_off_is_taken_in(short, tmp_path):
    """D4: it was dropped as "already here"."""
    here = tmp_path / "here"
    list(receive(short, here))
    signed(short / "second")
    fates = {each.source.name: each.fate for each in receive(short, here)}
    assert fates["second"] == Fate.SIGNED
    assert verdicts(here / "second") == [(NAMED, "accepted")]
    assert {each.source.name: each.fate for each in receive(short, here)}["second"] == Fate.DUPLICATE


@pytest.mark.slow("records are verified by programs of their own")
def test_sign_offs_that_were_made_apart_are_merged(short, tmp_path):
    """Two desks signed the same visit apart: neither is lost."""
    here = tmp_path / "here"
    list(receive(short, here))
    signed(short / "second")
    signed(here / "second", verdict="not accepted", remark="no meter")
    arrival = next(each for each in receive(short, here) if each.source.name == "second")
    assert arrival.fate == Fate.SIGNED
    assert sorted(verdicts(here / "second")) == [(NAMED, "accepted"), (NAMED, "not accepted")]


@pytest.mark.slow("records are verified by programs of their own")
def test_what_a_stranger_signed_is_not_taken_in(short, tmp_path):
    """It is told; what is here stays as it is."""
    here = tmp_path / "here"
    list(receive(short, here))
    keys = {STRANGER.key: EnrolledKey(STRANGER.key, NAMED, Role.SUPERVISOR, "2026-01-01T00:00:00.000Z")}
    signed(short / "second", STRANGER, replace(known_supervisor(), keys=keys))
    arrival = next(each for each in receive(short, here) if each.source.name == "second")
    assert arrival.fate == Fate.REFUSED
    assert f"the key of {NAMED} is not enrolled" in arrival.sentence
    assert verdicts(here / "second") == []


@pytest.mark.slow("records are verified by programs of their own")
def test_known_visits_are_not_verified_again_for_each_stick(short, tmp_path, monkeypatch):
    """D9: each stick verified every visit that was there."""
    here = tmp_path / "here"
    list(receive(short, here))
    empty = tmp_path / "stick"
    empty.mkdir()
    monkeypatch.setattr("handsfree.desk.receiving.Sandbox.do", lambda *_, **__: pytest.fail("verified again"))
    assert list(receive(empty, here)) == []


def test_a_piece_that_takes_too_much_is_set_aside_and_the_next_is_done():
    """Time, memory, and the life of the process."""
    with Sandbox("test", hostile, seconds=8.0) as sandbox:
        for number, why in ((1, "longer than"), (2, "memory"), (3, "exit code 7")):
            with pytest.raises(Problem, match=why):
                sandbox.do(number, where="the piece")
            assert sandbox.do(21) == 42
