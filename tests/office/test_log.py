"""The office's log: it only grows, an older checkpoint shows what was taken out, and absences are told by name.

The tree itself is held to the published vectors in tests/ledger/test_known_answers.py.
"""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
import time
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from lists import OFFICE, STRANGER, device_of, list_of, signed
from small_visits import DAY, HOUR, visit
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.ledger import Moment, merkle
from handsfree.office.absences import FAR, FORK, FUTURE, GAP, against_log, findings
from handsfree.office.carried import carried, carry
from handsfree.office.enrolment import NAME
from handsfree.office.kept_key import make_key
from handsfree.office.log import (
    Checkpoint,
    append,
    checked_leaves,
    count_not_signed,
    line_signed_at,
    log_lines,
    newest_checkpoint,
)
from handsfree.office.log_tree import LoggedLine, LogTree
from handsfree.office.proving import prove, proven
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.problem import Problem

KEY = OFFICE


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two visits of one enrolled device, both in the log."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    for name in ("one", "two"):
        visit(tmp_path / name, tmp_path / "tablet")
    list_of(tmp_path / "state" / NAME, [device_of(tmp_path / "one")])
    append(tmp_path / "log", [checked(tmp_path / name) for name in ("one", "two")], KEY)
    return tmp_path


def checked(folder: Path) -> Any:
    return verify_anchored(folder, known_enrolment())


def names(here: Path) -> list[str]:
    return [each.name for each in findings(list(checked_leaves(here / "log", KEY.public)))]


def test_a_checkpoint_is_a_signed_note_by_the_specification_alone(here: Path) -> None:
    """C2SP tlog-checkpoint and signed-note: body, blank line, key ID, Ed25519 signature; RFC 9162 root by hand."""
    note = newest_checkpoint(here / "log")
    origin, size, root, blank, seal, end = note.split("\n")
    one, two = (hashlib.sha256(b"\x00" + line).digest() for line in log_lines(here / "log"))
    assert (size, blank, end) == ("2", "", "")
    assert base64.b64decode(root) == hashlib.sha256(b"\x01" + one + two).digest()
    dash, name, text = seal.split(" ")
    both, public = base64.b64decode(text), bytes.fromhex(KEY.public)
    assert (dash, name) == ("—", origin)
    assert both[:4] == hashlib.sha256(origin.encode() + b"\n\x01" + public).digest()[:4]
    Ed25519PublicKey.from_public_bytes(public).verify(both[4:], f"{origin}\n{size}\n{root}\n".encode())


def test_the_log_grows_and_holds_nothing_twice(here: Path) -> None:
    older = newest_checkpoint(here / "log")
    assert append(here / "log", [checked(here / "one")], KEY) == 0
    signed(checked(here / "one"))
    assert append(here / "log", [checked(here / "one")], KEY) == 1
    assert len(list(checked_leaves(here / "log", KEY.public, older))) == 3


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda lines: lines[:1], "1 lines that its checkpoint counts are gone"),
        (lambda lines: lines[::-1], "the log is not the one of its checkpoint"),
        (lambda lines: [lines[0], lines[1].replace(b'"count":4', b'"count":3')], "not the one of its checkpoint"),
    ],
)
def test_what_was_taken_out_or_changed_is_told(here: Path, change: Any, says: str) -> None:
    path = here / "log" / "log.jsonl"
    path.write_bytes(b"".join(line + b"\n" for line in change(path.read_bytes().splitlines())))
    with pytest.raises(Problem, match=says):
        list(checked_leaves(here / "log", KEY.public))


@pytest.mark.parametrize("line", [b"[1]", b"1", b'{"kind":["visit"]}', b'{"kind":"visit"}', b"[" * 9000, b"\xff"])
def test_a_line_after_the_checkpoint_is_not_trusted_and_never_signed(here: Path, line: bytes) -> None:
    """Whatever somebody added was taken for the log's and then signed as its own; `[1]` gave a traceback."""
    path = here / "log" / "log.jsonl"
    path.write_bytes(path.read_bytes() + line + b"\n")
    assert count_not_signed(here / "log", KEY.public) == 1
    assert len(list(checked_leaves(here / "log", KEY.public))) == 2
    proven(prove(here / "two", 2, here / "log", KEY.public), KEY.public)
    assert append(here / "log", [checked(here / "one")], KEY) == 0
    assert line not in log_lines(here / "log")
    assert (here / "log" / "not-signed.jsonl").read_bytes() == line + b"\n"
    assert count_not_signed(here / "log", KEY.public) == 0


def test_a_forged_head_after_the_checkpoint_hides_no_visit_and_is_added_no_more(here: Path) -> None:
    """One that claimed a visit stood for it, so that the visit itself was not added."""
    three = checked(visit(here / "three", here / "tablet"))
    path, note = here / "log" / "log.jsonl", newest_checkpoint(here / "log")
    append(here / "log", [three], KEY)
    forged = path.read_bytes().splitlines()[-1].replace(b'"count":4', b'"count":3')
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:2]) + forged + b"\n")
    (here / "log" / "checkpoint").write_text(note)
    assert append(here / "log", [three], KEY) == 1
    assert list(checked_leaves(here / "log", KEY.public))[-1]["count"] == 4


def test_a_signed_line_that_is_no_leaf_is_told_with_its_number(here: Path) -> None:
    """The log's own key signed it, so nothing else speaks against it."""
    lines = [*log_lines(here / "log"), b"[1]"]
    (here / "log" / "log.jsonl").write_bytes(b"".join(each + b"\n" for each in lines))
    (here / "log" / "checkpoint").write_text(Checkpoint(3, merkle.root(lines)).signed(KEY))
    with pytest.raises(Problem, match="line 3 is no line of a log"):
        list(checked_leaves(here / "log", KEY.public))
    with pytest.raises(Problem, match="line 3 is no line of a log"):
        append(here / "log", [checked(here / "one")], KEY)


def test_an_older_checkpoint_shows_a_log_that_was_made_anew(here: Path) -> None:
    """Whoever holds the log's key can sign another history, and not make an old checkpoint fit it."""
    older = newest_checkpoint(here / "log")
    shutil.rmtree(here / "log")
    append(here / "log", [checked(here / name) for name in ("two", "one")], KEY)
    list(checked_leaves(here / "log", KEY.public))
    with pytest.raises(Problem, match="not the one of the older checkpoint"):
        list(checked_leaves(here / "log", KEY.public, older))


@pytest.mark.parametrize("note", ["", "x", "handsfree/office-log\n2\nAAAA\n\n— handsfree/office-log AAAA\n"])
def test_what_is_no_checkpoint_of_this_log_is_told(here: Path, note: str) -> None:
    for given in (note, Checkpoint(2, b"\0" * 32).signed(STRANGER.kept)):
        with pytest.raises(Problem, match="checkpoint"):
            Checkpoint.of(given, KEY.public)


def test_a_number_that_is_missing_is_told(here: Path) -> None:
    """R6: missing visits went unseen."""
    assert names(here) == []
    visit(here / "kept-back", here / "tablet")
    visit(here / "four", here / "tablet")
    append(here / "log", [checked(here / "four")], KEY)
    assert names(here) == [GAP]


def test_a_copied_state_is_told_as_a_fork(here: Path) -> None:
    """R6: two visits under one number of the device, each of them faultless."""
    shutil.copytree(here / "tablet", here / "copied")
    visit(here / "three", here / "tablet")
    visit(here / "forked", here / "copied")
    append(here / "log", [checked(here / name) for name in ("three", "forked")], KEY)
    assert names(here) == [FORK]


def test_a_visit_dated_ahead_of_its_arrival_or_long_before_it_is_told(here: Path) -> None:
    """One closed an hour after it arrived, one that was handed in a month late."""

    class Then:
        def __init__(self, by: int) -> None:
            self.by = by

        def now(self) -> Moment:
            return Moment(time.time_ns() // 1_000_000 + self.by, 0, "boot")

    late, early = visit(here / "late", here / "tablet", ahead=-30 * DAY), visit(here / "early", here / "tablet")
    append(here / "log", [checked(late)], KEY)
    append(here / "log", [checked(early)], KEY, clock=Then(-3 * HOUR))
    assert names(here) == [FAR, FUTURE]


def test_a_signed_line_that_was_taken_away_is_told(here: Path) -> None:
    """D2: deleting the last line, or the file, raised no finding."""
    signed(checked(here / "one"), "not accepted", "no meter")
    append(here / "log", [checked(here / "one")], KEY)
    leaves = list(checked_leaves(here / "log", KEY.public))
    assert against_log(checked(here / "one"), leaves) == []
    (here / "one" / "endorsements.jsonl").unlink()
    report = checked(here / "one")
    assert report.ok
    (found,) = against_log(report, leaves)
    assert "is gone" in found.says


def test_one_entry_is_proven_alone(here: Path) -> None:
    """The proof holds that entry and no other; whatever is changed in it proves nothing."""
    proof = prove(here / "one", 2, here / "log", KEY.public)
    entry, leaf = proven(json.loads(json.dumps(proof)), KEY.public)
    assert (entry["kind"], entry["event"]) == ("reading", {"value": "9.30"})
    assert leaf["count"] == 4
    assert "procedure.yaml" not in json.dumps(proof)
    for change in (
        lambda one: one["entry"].update(line=one["entry"]["line"].replace("9.30", "9.80")),
        lambda one: one["entry"].update(index=1),
        lambda one: one["leaf"].update(index=1),
        lambda one: one["leaf"].update(line=one["leaf"]["line"].replace('"count":4', '"count":5')),
        lambda one: one["entry"].update(path=[]),
        lambda one: one.update(checkpoint=Checkpoint(2, b"\0" * 32).signed(KEY)),
        lambda one: one.update(checkpoint=1),
        lambda one: one.pop("leaf"),
    ):
        changed = json.loads(json.dumps(proof))
        change(changed)
        with pytest.raises(Problem):
            proven(changed, KEY.public)
    with pytest.raises(Problem, match="no entry 9"):
        prove(here / "one", 9, here / "log", KEY.public)


def test_a_visit_began_no_earlier_than_the_checkpoint_it_carries(here: Path) -> None:
    """R6, D3: a visit made up afterwards under an old date could not be told; nobody knows a checkpoint before."""
    append(here / "state" / "log", [checked(here / "one")], make_key(here / "state" / "log.pem", None))
    note = newest_checkpoint(here / "state" / "log")
    since = next(log_lines(here / "state" / "log")).decode().split('"at":"')[1][:24]
    report = checked(visit(here / "now", here / "tablet", ahead=0, checkpoint=note))
    assert report.ok
    assert f"it began not earlier than {since}: it carries the checkpoint of line 1" in report.remarks[-1]
    back = checked(visit(here / "back", here / "tablet", ahead=-HOUR, checkpoint=note))
    assert not back.ok
    assert "dated before its checkpoint" in back.sentence
    assert f"but carries a checkpoint that the office signed at {since}" in back.sentence
    foreign = checked(visit(here / "foreign", here / "tablet", checkpoint=newest_checkpoint(here / "log")))
    assert foreign.ok
    assert "not one of the log here: the checkpoint is not signed by the key of this log" in foreign.remarks[-1]
    (here / "state" / "log" / "checkpoint").unlink()
    assert "1 lines of an office's log, which is not kept here" in checked(here / "now").remarks[-1]


def test_a_device_keeps_the_checkpoint_of_most_lines_for_its_next_visits(here: Path) -> None:
    older = newest_checkpoint(here / "log")
    append(here / "log", [checked(visit(here / "three", here / "tablet"))], KEY)
    newer = newest_checkpoint(here / "log")
    assert carried() == ""
    assert [carry(note) for note in (older, newer, older)] == [True, True, False]
    assert carried() == newer
    with pytest.raises(Problem, match="not a checkpoint"):
        carry("yesterday\n")
    (here / "state" / "office-checkpoint").write_text("yesterday\n")
    assert carried() == ""


def test_only_whole_records_are_logged_and_no_demo(here: Path) -> None:
    demo = visit(here / "demo", here / "thrown-away", demo=True)
    with pytest.raises(Problem, match="no demo"):
        append(here / "log", [checked(demo)], KEY)


def test_the_commands_add_check_and_prove(here: Path) -> None:
    """As an office types them; a forged visit is not logged."""

    def run(*arguments: object) -> tuple[int, str]:
        result = CliRunner().invoke(app, list(map(str, arguments)))
        if isinstance(result.exception, Problem):
            raise result.exception
        return result.exit_code, result.stdout

    assert "2 lines were added" in run("log", "add", here / "one", here / "two")[1]
    assert "2 lines of the log are whole; 0 findings" in run("log", "check", here / "one")[1]
    path = here / "state" / "log" / "log.jsonl"
    whole = path.read_bytes()
    path.write_bytes(whole + b"{}\n")
    code, told = run("log", "check")
    assert code == 1
    assert "not signed: 1 lines follow those that the checkpoint signs" in told
    path.write_bytes(whole)
    (here / "older").write_text(run("log", "checkpoint")[1].split("the log's key")[0])
    assert run("log", "check", "--checkpoint", here / "older")[0] == 0
    assert "a checkpoint of 2 lines: new visits carry it" in run("log", "carry", here / "older")[1]
    assert "carried already" in run("log", "carry", here / "older")[1]
    (here / "proof").write_text(run("prove", here / "one", 2)[1])
    assert '"9.30"' in run("prove", here / "proof", "--check")[1]
    with pytest.raises(Problem, match="not logged: sealed by an unknown device"):
        run("log", "add", visit(here / "forged", here / "forger"))
    with pytest.raises(Problem, match="no proof"):
        run("prove", here / "older", "--check")


def test_the_tree_that_grows_has_the_root_of_the_whole_at_each_size(tmp_path: Path) -> None:
    """RFC 9162, 2.1.1 by its recursive definition (`merkle.root`), at every size, also when read back by parts."""
    leaves = [f"leaf {number}".encode() for number in range(70)]
    growing = merkle.GrowingTree()
    with LogTree(tmp_path) as tree:
        tree.add(LoggedLine(leaf, leaf.decode()) for leaf in leaves[:33])
        for size, leaf in enumerate(leaves, start=1):
            growing.add(leaf)
            assert growing.root() == merkle.root(leaves[:size])
        tree.add(LoggedLine(leaf, leaf.decode()) for leaf in leaves[33:])
    with LogTree(tmp_path, reading=True) as tree:
        assert [tree.root(size) for size in range(71)] == [merkle.root(leaves[:size]) for size in range(71)]
        assert [tree.start(number) for number in (0, 1, 11)] == [0, 7, 10 * 7 + 8]
        assert tree.size == (70, sum(len(leaf) + 1 for leaf in leaves))


@pytest.mark.parametrize(
    "harm",
    [
        lambda log, before: (log / "log.sqlite").unlink(),
        lambda log, before: (log / "log.sqlite").write_bytes(b"no database" * 500),
        lambda log, before: shutil.copy(before, log / "log.sqlite"),
        lambda log, before: _append_bytes(log / "log.jsonl", b'{"kind":"visit","torn'),
    ],
    ids=["lost", "broken", "older", "torn line"],
)
def test_a_log_goes_on_whatever_became_of_what_lies_beside_it(here: Path, harm: Any) -> None:
    """A loss of power may take the newest of it, or leave half a line; nothing signed is lost or added twice."""
    log, before = here / "log", here / "before.sqlite"
    shutil.copy(log / "log.sqlite", before)
    append(log, [checked(visit(here / "three", here / "tablet"))], KEY)
    older = newest_checkpoint(log)
    for ending in ("-wal", "-shm"):
        (log / f"log.sqlite{ending}").unlink(missing_ok=True)
    harm(log, before)
    assert line_signed_at(log, KEY.public, older) == list(checked_leaves(log, KEY.public))[-1]["at"]
    assert append(log, [checked(here / "one"), checked(visit(here / "four", here / "tablet"))], KEY) == 1
    assert len(list(checked_leaves(log, KEY.public, older))) == 4
    assert count_not_signed(log, KEY.public) == 0
    assert line_signed_at(log, KEY.public, older) == list(checked_leaves(log, KEY.public))[2]["at"]


def test_an_append_reads_nothing_that_is_signed_and_a_look_tells_what_was_changed_there(here: Path) -> None:
    """However long the log: a line of it is changed, an append goes on, and every look finds it."""
    path = here / "log" / "log.jsonl"
    path.write_bytes(path.read_bytes().replace(b'"count":4', b'"count":3', 1))
    assert append(here / "log", [checked(visit(here / "three", here / "tablet"))], KEY) == 1
    with pytest.raises(Problem, match="the log is not the one of its checkpoint"):
        list(checked_leaves(here / "log", KEY.public))


def _append_bytes(path: Path, data: bytes) -> None:
    with path.open("ab") as stream:
        stream.write(data)
