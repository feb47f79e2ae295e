"""The screen in a real pseudo-terminal: a real visit by keys, and the terminal given back however it ends."""

from __future__ import annotations

import os
import signal
import sys
import termios
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from seen import ROOT, Seen

from handsfree.ledger import read, verify
from handsfree.visit.replaying import replay_of
from tests.programs import keyed_visit, program

PROCEDURE = ROOT / "tests" / "commands" / "one-reading.yaml"
JOB_SHEET = ROOT / "handsfree" / "demo" / "jobsheet.yaml"
Start = Callable[..., Seen]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start a visit on a terminal; whatever is left of it is ended."""
    begun: list[Seen] = []

    def start_(*options: str, columns: int = 80, rows: int = 24, command: list[str] | None = None) -> Seen:
        visit = keyed_visit(PROCEDURE, JOB_SHEET, tmp_path / "visit", *options)
        begun.append(Seen(command or visit, columns=columns, rows=rows, cwd=tmp_path))
        return begun[-1]

    yield start_
    for one in begun:
        one.child.close(force=True)


def mode(seen: Seen) -> list[object]:
    """Return how the terminal treats keys: its flags and special characters."""
    return termios.tcgetattr(seen.child.child_fd)[3:7:3]


def ended(seen: Seen) -> int | None:
    """Follow to the end of the program; return its exit code."""
    for _ in range(600):
        seen.follow(0.1)
        if not seen.child.isalive():
            break
    seen.follow(0.2)
    return seen.child.exitstatus


@pytest.mark.slow("a whole visit in a terminal")
def test_a_visit_is_led_by_gloved_keys(start: Start, tmp_path: Path) -> None:
    """Confirm, a value by digits, its read-back, a restore chosen and read back, the finish; and it verifies."""
    seen = start()
    before = mode(seen)
    seen.until("Cover off.", large=True)
    assert "Gate 1 of 4" in seen.text()
    assert {char.bg for char in seen.screen.buffer[0].values()} == {"brightwhite"}
    assert {char.bg for char in seen.screen.buffer[2].values()} == {"black"}
    seen.press(" ")
    seen.until("Ambient CO?", large=True)
    assert "removed: Cover 0" in seen.text()
    seen.press("1", "3", "left", "2")
    seen.until("12", large=True)
    assert not [entry for entry in read(tmp_path / "visit") if entry.kind == "read-back"]
    seen.press("enter")
    seen.until("Correct?", large=True)
    seen.follow(0.8)
    seen.press("page down")
    seen.until("Cover?", large=True)
    seen.press("enter", "enter")  # says nothing: which state it is in must be chosen
    seen.press("down")
    seen.until("fitted", large=True)
    seen.press("enter")
    seen.until("Confirmed?", large=True)
    seen.follow(1.0)
    seen.press("enter")
    seen.until("Finish.", large=True)
    seen.follow(1.0)
    seen.press("enter")
    assert ended(seen) == 0
    assert "Finished." in seen.text()
    assert mode(seen) == before
    record = tmp_path / "visit"
    assert [entry.event["reading"]["value"] for entry in read(record) if entry.kind == "reading-accepted"] == [
        "12"
    ]
    assert verify(record, replay=replay_of(record)).ok


@pytest.mark.slow("a visit of its own at a terminal, in real time")
def test_whole_words_can_be_typed_as_well(start: Start) -> None:
    """With --typed letters open a line of words; enter sends it."""
    seen = start()
    seen.until("Cover off.", large=True)
    seen.press(*"hold on", after=0.05)
    seen.until("hold on", large=True)
    seen.press("enter")
    seen.until("ON HOLD", large=True)


@pytest.mark.real_time
def test_the_right_arrow_three_times_stops_at_once(start: Start) -> None:
    """The stopped state fills the screen, and the exit code says so when the record is closed."""
    seen = start()
    seen.until("Cover off.", large=True)
    seen.press("right", "right", after=0.1)
    assert "STOP: pressed 2 of 3" in seen.text() or not seen.follow(0.3)
    seen.press("right", after=0.1)
    seen.until("STOPPED")
    seen.until("Burner off now.", large=True)
    seen.press("up", after=0.1)  # a hazard on top of the stop: the gravest is the nearest
    seen.until("gas smell", large=True)
    seen.press("left")
    assert sum(seen.screen.buffer[row][40].bg == "red" for row in range(24)) >= 12
    seen.follow(3.0)  # nothing is chosen before the order was said
    seen.press("down", "down", "enter")  # leave it off: the second way
    seen.until("switched off")
    for _ in range(20):
        seen.follow(1.0)
        if seen.large("Close it."):
            break
        seen.press("down", "enter")
    seen.until("Close it.", large=True)
    seen.press("enter")
    assert ended(seen) == 1
    assert "Record closed, stopped." in seen.text()


@pytest.mark.slow("a visit of its own at a terminal, in real time")
@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_an_interrupted_visit_gives_the_terminal_back(start: Start, by: signal.Signals) -> None:
    """By Ctrl-C, a kill or a closed window: the keys as they were, the cursor shown, the visit left open."""
    seen = start()
    before = mode(seen)
    seen.until("Cover off.", large=True)
    assert mode(seen) != before
    if by is signal.SIGINT:
        seen.child.sendintr()
    else:
        os.kill(seen.child.pid, by)
    assert ended(seen) == 3
    assert mode(seen) == before
    assert seen.sent.rstrip().endswith(b"visit") or b"Left open" in seen.sent
    assert seen.sent.rfind(b"\x1b[?1049l") > seen.sent.rfind(b"\x1b[?1049h")
    assert seen.sent.rfind(b"\x1b[?25h") > seen.sent.rfind(b"\x1b[?25l")
    assert b"Traceback" not in seen.sent


@pytest.mark.slow("a visit of its own at a terminal, in real time")
def test_ctrl_z_does_not_leave_a_burner_alone(start: Start) -> None:
    """The key that would suspend the program does nothing."""
    seen = start()
    seen.until("Cover off.", large=True)
    seen.child.send("\x1a")
    seen.follow(0.5)
    seen.press("enter")
    seen.until("Ambient CO?", large=True)


CRASH = """
import sys
from handsfree.visit import conductor
def crash(self):
    raise RuntimeError("made to crash")
conductor.Conductor._typed = crash
from handsfree.commands.app import main
sys.argv = ["handsfree", *sys.argv[1:]]
main()
"""


@pytest.mark.slow("a visit of its own at a terminal, in real time")
def test_a_crash_gives_the_terminal_back(start: Start, tmp_path: Path) -> None:
    """Whatever is raised in the middle of a visit: the terminal first, then what happened, readable."""
    arguments = program(
        "visit", PROCEDURE, "--draft", "--jobsheet", JOB_SHEET, "--typed", "--silent", "--out", tmp_path / "v"
    )
    seen = start(command=[sys.executable, "-c", CRASH, *arguments[3:]])
    before = mode(seen)
    assert ended(seen) not in {0, None}
    assert mode(seen) == before
    assert seen.sent.rfind(b"\x1b[?1049l") > seen.sent.rfind(b"\x1b[?1049h") >= 0
    assert b"made to crash" in seen.sent[seen.sent.rfind(b"\x1b[?1049l") :]


HANG = """
import sys, time
from handsfree.visit import conductor
conductor.Conductor._typed = lambda self: time.sleep(60)
from handsfree.commands.app import main
sys.argv = ["handsfree", *sys.argv[1:]]
main()
"""


@pytest.mark.slow("a visit of its own at a terminal, in real time")
@pytest.mark.real_time
def test_a_picture_that_gets_no_news_is_covered(start: Start, tmp_path: Path) -> None:
    """The visit hangs: after three seconds nothing of the old picture is left, and the seconds are counted."""
    arguments = program(
        "visit", PROCEDURE, "--draft", "--jobsheet", JOB_SHEET, "--typed", "--silent", "--out", tmp_path / "v"
    )
    seen = start(command=[sys.executable, "-c", HANG, *arguments[3:]])
    seen.until("Cover off.", large=True)
    seen.until("NO NEWS FOR", large=True, seconds=8)
    assert "Gate 1" not in seen.text()
    first = seen.text()
    seen.follow(1.5)
    assert seen.large("NO NEWS FOR")
    assert seen.text() != first


@pytest.mark.slow("a visit of its own at a terminal, in real time")
def test_a_terminal_made_larger_gets_larger_letters(start: Start) -> None:
    """From 80 by 24 to 120 by 40 while the visit runs."""
    seen = start()
    seen.until("Cover off.", large=True)
    seen.screen.resize(40, 120)
    seen.child.setwinsize(40, 120)
    seen.screen.erase_in_display(2)
    seen.until("Cover off.", large=True)
    rows = [row for row in seen.screen.display[1:30] if row.strip()]
    assert len(rows) > 16
    seen.press("enter")
    seen.until("Ambient CO?", large=True)
    seen.press("7")
    seen.until("7", large=True)


@pytest.mark.slow("a visit of its own at a terminal, in real time")
def test_without_a_terminal_or_with_plain_lines_stay_lines(start: Start) -> None:
    """No escape sequence; words are typed and sent by enter as ever."""
    seen = start("--plain")
    seen.until("Cover off.")
    seen.child.send("cover removed\r")
    seen.until("Ambient CO?")
    assert b"\x1b[" not in seen.sent


@pytest.mark.slow("a visit of its own at a terminal, in real time")
def test_what_others_write_does_not_stand_in_the_picture(start: Start, tmp_path: Path) -> None:
    """A line on the error stream of the process appears when the picture is gone."""
    noisy = CRASH.replace('raise RuntimeError("made to crash")', "import os; os.write(2, b'ALSA lib: noise\\n')")
    arguments = program(
        "visit", PROCEDURE, "--draft", "--jobsheet", JOB_SHEET, "--typed", "--silent", "--out", tmp_path / "v"
    )
    seen = start(command=[sys.executable, "-c", noisy, *arguments[3:]])
    seen.until("Cover off.", large=True)
    seen.follow(0.5)
    assert b"ALSA" not in seen.sent
    seen.child.sendintr()
    assert ended(seen) == 3
    assert b"ALSA lib: noise" in seen.sent
