"""What a visit is shown on, each a program of its own: a recogniser, a code, a record that fails, a resumption."""

from __future__ import annotations

import contextlib
import json
import re
import shutil
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest
import soundfile
import zxingcpp
from seen import ROOT, Seen
from trusting import trusting

from handsfree.glance.presses import code_of
from handsfree.hearing.resampling import RATE
from handsfree.ledger import read
from handsfree.speaking.voice import Voice, VoiceSettings
from tests.programs import keyed_visit, page_address, program

PROCEDURE = ROOT / "tests" / "commands" / "one-reading.yaml"
JOB_SHEET = ROOT / "handsfree" / "demo" / "jobsheet.yaml"


@pytest.mark.real_time
def test_the_screen_shows_what_the_recogniser_heard(tmp_path: Path) -> None:
    """A voice from files, the real recogniser in its process, the real screen: words, voice over noise."""
    spoken = tmp_path / "spoken"
    spoken.mkdir()
    voice = Voice(VoiceSettings(name="en-us+m3", words_per_minute=140))
    for number, words in enumerate(("cover removed", "one two")):
        sound = voice.render(words)
        assert sound is not None
        soundfile.write(spoken / f"{number}.wav", sound.at_rate(RATE).samples, RATE)
    voice.close()
    seen = Seen(
        program(
            "visit",
            PROCEDURE,
            "--draft",
            "--jobsheet",
            JOB_SHEET,
            "--sound",
            spoken,
            "--no-third-opinion",
            "--silent",
            "--out",
            tmp_path / "visit",
        ),
        cwd=tmp_path,
    )
    try:
        seen.until("“cover removed”", seconds=40)
        seen.until("12", large=True, seconds=40)
        assert re.search(r"Ears +voice \d+ dB over noise", seen.text())
        seen.child.sendintr()
        seen.follow(3)
    finally:
        seen.child.close(force=True)
    assert [entry.kind for entry in read(tmp_path / "visit")].count("heard") >= 2


@pytest.mark.slow("a visit in a terminal")
def test_a_phone_can_scan_the_address_and_any_key_begins(tmp_path: Path) -> None:
    """The dots on the terminal, read by an independent reader (ZXing), are the address with its token."""
    visit = keyed_visit(PROCEDURE, JOB_SHEET, tmp_path / "visit")
    seen = Seen([*visit, "--glance-web", "127.0.0.1:0"], rows=40, columns=100, cwd=tmp_path)
    try:
        seen.until("█")
        seen.follow(0.5)
        address = re.findall(r"https://\S+", seen.screen.display[0])[0]
        halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
        rows = [line.rstrip() for line in seen.screen.display[1:] if "█" in line]
        width = max(len(row) for row in rows)
        lit = [[halves[c][half] for c in row.ljust(width)] for row in rows for half in (0, 1)]
        picture = np.kron(np.array(lit, np.uint8) * 255, np.ones((6, 6), np.uint8))
        assert zxingcpp.read_barcodes(np.pad(picture, 30, constant_values=255))[0].text == address
        seen.press("enter")
        seen.until("Cover off.", large=True)
        assert f"Phone {address}" in seen.text()
        assert [entry.kind for entry in read(tmp_path / "visit")].count("typed") == 0
    finally:
        seen.child.close(force=True)


@pytest.mark.slow("a program in real time")
def test_the_last_picture_reaches_the_phone(tmp_path: Path) -> None:
    """A follower gets the failure although the tool ends at once."""
    command = [sys.executable, "-c", FAILING, str(PROCEDURE), str(JOB_SHEET), str(tmp_path / "visit")]
    with (
        subprocess.Popen(command, stderr=subprocess.PIPE, stdin=subprocess.PIPE, text=True) as process,
        contextlib.ExitStack() as ended,
    ):
        ended.callback(process.kill)  # a test that fails must not wait for it
        address = urlsplit(page_address(process))
        view_code, _, key_code = address.fragment.partition(".")
        press = {"X-Glance-Count": "1", "X-Glance-Code": code_of(key_code, 1, "enter")}
        look = urllib.request.Request(f"https://{address.netloc}/news", headers={"X-Glance-View": view_code})
        with urllib.request.urlopen(look, timeout=60, context=trusting()) as news:
            time.sleep(1)
            urllib.request.urlopen(
                urllib.request.Request(f"https://{address.netloc}/key", b"enter", press),
                timeout=60,
                context=trusting(),
            ).close()
            last = [line for line in news.read().decode().splitlines() if line.startswith("data: ")][-1]
        assert process.wait(60) != 0
    assert json.loads(last.removeprefix("data: "))["banner"] == "NOT RECORDED: DISK FAILED"


FAILING = """
import sys
from handsfree.ledger import Ledger
from handsfree.problem import Problem
append, count = Ledger.append, [0]
def failing(self, events):
    if any(kind == "typed" for kind, _ in events):
        raise Problem("the disk is full")
    return append(self, events)
Ledger.append = failing
from handsfree.commands.app import main
procedure, sheet, out = sys.argv[1:]
sys.argv = ["handsfree", "visit", procedure, "--draft", "--jobsheet", sheet, "--typed", "--silent", "--plain",
            "--glance-web", "127.0.0.1:0", "--out", out]
main()
"""


@pytest.mark.slow("two programs in real time")
def test_a_resumed_visit_shows_the_stop_it_was_left_in(tmp_path: Path) -> None:
    """The script and why stand there again, taken from the record."""
    visit = keyed_visit(PROCEDURE, JOB_SHEET, tmp_path / "visit")
    seen = Seen(visit, cwd=tmp_path)
    seen.until("Cover off.", large=True)
    seen.press("right", "right", "right")
    seen.until("STOPPED")
    seen.child.sendintr()
    seen.follow(2)
    seen.child.close(force=True)
    again = Seen(program("resume", tmp_path / "visit", "--typed", "--silent"), cwd=tmp_path)
    try:
        again.until("STOPPED")
        again.until("Burner off now.", large=True)
        assert "stop-work" not in again.text()
    finally:
        again.child.close(force=True)


@pytest.mark.slow("a visit is rendered and heard")
def test_the_demo_can_be_followed_on_the_screen(tmp_path: Path) -> None:
    """The gates of the played visit stand on it, heard and taken."""
    if shutil.which("espeak-ng") is None:
        pytest.fail("the demo's voice is missing: espeak-ng")
    seen = Seen(program("demo", "--glance", "--out", tmp_path / "demo"), cwd=tmp_path)
    try:
        seen.until("→ taken", seconds=60)
        assert " of 216: " in seen.text()
        seen.child.sendintr()
        seen.follow(2)
    finally:
        seen.child.close(force=True)
