"""Typed input of any bytes and any length, to its end: divided into lines, and led through a real visit."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsed import at, places

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.devices import DeviceChange
from handsfree.ledger import RecordVerdict, read, verify
from handsfree.session.fusion import choose_typed
from handsfree.visit.replaying import replay_of
from handsfree.visit.typed_lines import CUT, LONGEST_LINE, Lines, TypedLines
from tests.programs import keyed_visit

ROOT = Path(__file__).resolve().parents[2]
PROCEDURE = ROOT / "tests" / "commands" / "one-reading.yaml"
JOB_SHEET = ROOT / "handsfree" / "demo" / "jobsheet.yaml"


def divided(*pieces: bytes) -> list[str]:
    lines = Lines()
    return [line for piece in pieces for line in lines.of(piece)] + list(lines.last())


@given(st.lists(st.binary(max_size=60), max_size=20))
def test_however_bytes_come_the_lines_are_the_same(pieces: list[bytes]) -> None:
    """As Python's own decoding with replacement reads the whole; and nothing unprintable is left in them."""
    whole = b"".join(pieces)
    expected = [line.rstrip(b"\r").decode("utf-8", "replace") for line in whole.split(b"\n")]
    if not expected[-1]:
        expected.pop()
    found = divided(*pieces)
    if not whole.split(b"\n")[-1].rstrip(b"\r") and len(found) > len(expected):
        assert found.pop() == ""
    assert [line.replace(" ", "") for line in found] == [
        "".join(sign for sign in line if sign.isprintable()).replace(" ", "") for line in expected
    ]
    assert all(line.isprintable() for line in found)


@pytest.mark.parametrize("length", [LONGEST_LINE + 1, 4 * LONGEST_LINE + 1, 300_000])
def test_a_line_without_an_end_is_given_out_cut_and_the_next_one_whole(length: int) -> None:
    """What follows in the cut line is nothing; it can never be taken for its beginning alone."""
    assert divided(b"x" * length + b"\nstop work\n") == ["x" * LONGEST_LINE + CUT, "stop work"]
    pieces = [b"\xff" * 1_000] * (length // 1_000) + [b"\n", b"stop work"]
    assert divided(*pieces)[-1] == "stop work"


def test_a_line_too_long_is_given_out_before_it_ends() -> None:
    """Nobody waits for an end that never comes."""
    lines = Lines()
    assert sum(len(list(lines.of(b"9" * 65_536))) for _ in range(160)) == 1
    assert list(lines.of(b"\n")) == []
    assert list(lines.of(b"yes\n")) == ["yes"]


@pytest.mark.parametrize("how", ["end", "error"])
def test_the_end_of_the_stream_is_told_once_after_the_last_line(how: str) -> None:
    """However it ends."""
    left = [b"one\ntw", b"o"]

    def some(_most: int) -> bytes:
        if left:
            return left.pop(0)
        if how == "error":
            raise OSError("the terminal has gone")
        return b""

    keys, found = TypedLines(some), []
    until = time.monotonic() + 5
    while not keys.over and time.monotonic() < until:
        found += [one for one in (keys.line(), keys.change()) if one is not None]
    assert found == ["one", "two", DeviceChange("keys", lost=True)]
    assert keys.change() is None


def test_who_sends_more_than_is_taken_in_must_wait() -> None:
    """A stream without end fills no memory."""
    asked = threading.Semaphore(0)

    def yes(most: int) -> bytes:
        asked.release()
        return b"yes\n" * (most // 4)

    keys = TypedLines(yes)
    time.sleep(0.2)
    assert keys.line() == "yes"
    assert asked.acquire(timeout=1)
    assert not asked.acquire(timeout=0.2)


LONG = (
    "9" * 500,
    "." * 500,
    "9." * 250,
    "co2 9 " * 80,
    "1 " * 250,
    "one " * 120,
    "hundred " * 60,
    "nine point " * 45,
)


def test_no_line_of_any_length_holds_a_visit_up() -> None:
    """At every kind of question of the shipped visit; 500 nines at one value took 65 s before."""
    seen = {}
    for (gate, kind), visit in places().items():
        if not gate:
            continue
        seen.setdefault((visit.plan.gate(gate).gate.kind, kind), visit)
    for place, visit in seen.items():
        grammar = visit.plan.grammar(visit.state.question, visit.state.gate)
        for text in LONG:
            begun = time.process_time()
            choose_typed(visit.plan, grammar, text)
            assert time.process_time() - begun < 1.0, (place, text[:12])


@pytest.mark.parametrize("device", ["keys", "page"])
def test_lost_hands_are_told_and_the_question_is_asked_again(device: str) -> None:
    """As a lost recogniser are; the silence that leads to the alarm goes on."""
    visit = at("cover-off")
    question = visit.state.text
    silent_since = visit.state.silent_since
    said = visit.take(inp.DeviceLost(at=visit.state.now + 500, device=device))
    told = {"keys": "Keys lost.", "page": "Phone page lost."}[device]
    assert [event.text for event in said if isinstance(event, ev.Said | ev.Asked)] == [told, question]
    assert visit.state.lost == {device}
    assert not visit.state.deaf
    assert visit.state.silent_since == silent_since
    back = visit.take(inp.DeviceFound(at=visit.state.now + 500, device=device))
    assert [event.text for event in back if isinstance(event, ev.Said)] == [told.replace("lost", "back")]
    assert visit.state.lost == frozenset()


@pytest.mark.slow("ten megabytes of input")
def test_ten_megabytes_and_bytes_that_are_no_text_do_not_keep_a_stop_from_arriving(tmp_path: Path) -> None:
    """Typed into a real visit: not understood, in well under a second; then "stop work" stops it."""
    out = tmp_path / "visit"
    with subprocess.Popen(
        keyed_visit(PROCEDURE, JOB_SHEET, out),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ,
    ) as process:
        assert process.stdin
        assert process.stdout
        process.stdin.write(b"cover removed\n")
        process.stdin.flush()
        while b"Ambient" not in process.stdout.readline():
            pass
        process.stdin.write(b"\xff\xfe\x80 zero\0 \xed\xa0\x80\n")
        process.stdin.flush()
        begun = time.monotonic()
        process.stdin.write(b"9" * 10_000_000 + b"\nstop work\n")
        process.stdin.close()
        while b"Burner off now" not in process.stdout.readline():
            assert time.monotonic() - begun < 20
        took = time.monotonic() - begun
        assert process.wait(60) == 3
        assert b"Traceback" not in process.stderr.read()
    assert took < 5
    kinds = [entry.kind for entry in read(out)]
    assert kinds.count("not-understood") == 2
    assert kinds.count("stopped") == 1
    lost = [entry.event["device"] for entry in read(out) if entry.kind == "device-lost"]
    assert lost == ["keys"]
    (long,) = [e.event["text"] for e in read(out) if e.kind == "typed" and len(e.event["text"]) > 100]
    assert long == "9" * LONGEST_LINE + CUT
    assert verify(out, replay=replay_of(out)).verdict is RecordVerdict.OPEN
