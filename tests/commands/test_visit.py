"""A live visit: by sound files in real time, by keys, interrupted and resumed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from pathlib import Path

import pytest
import soundfile
from pypdf import PdfReader

from handsfree.handover.outbox_visits import without_sound
from handsfree.hearing.resampling import RATE
from handsfree.ledger import RecordVerdict, read, verify
from handsfree.speaking.voice import Voice, VoiceSettings
from handsfree.visit.replaying import replay_of
from tests.programs import keyed_visit

WORDS = ("cover removed", "one five", "confirmed", "fitted", "confirmed", "confirmed")


@pytest.mark.real_time
def test_a_visit_is_led_by_sound_alone(run, tmp_path: Path, procedure: Path, jobsheet: Path) -> None:
    """Six spoken answers, one after the other in real time, through a process of a recogniser of its own."""
    spoken = tmp_path / "spoken"
    spoken.mkdir()
    voice = Voice(VoiceSettings(name="en-us+m3", words_per_minute=140))
    for number, words in enumerate(WORDS):
        sound = voice.render(words)
        assert sound is not None
        soundfile.write(spoken / f"{number}.wav", sound.at_rate(RATE).samples, RATE)
    voice.close()
    out = tmp_path / "visit"
    heard = ("--sound", spoken, "--no-third-opinion")
    done = run("visit", procedure, "--draft", "--jobsheet", jobsheet, *heard, "--silent", "--out", out)
    report = verify(out, replay=replay_of(out))
    if report.verdict is RecordVerdict.BROKEN:
        pytest.fail(report.sentence)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Finished." in done.stdout
    accepted = [e.event["reading"]["value"] for e in read(out) if e.kind == "reading-accepted"]
    assert accepted == ["15"]
    assert sum(1 for e in read(out) if e.kind == "heard") >= len(WORDS)
    assert len(list((out / "sound").glob("*.flac"))) >= len(WORDS)
    assert report.ok


@pytest.mark.slow("a whole visit by keys; another stays in the fast stage")
def test_a_draft_is_led_by_keys_when_asked_and_every_paper_says_so(
    run, run_here, tmp_path: Path, procedure: Path, jobsheet: Path
) -> None:
    """With --typed the whole visit goes without a microphone; without --draft it does not begin."""
    out = tmp_path / "visit"
    asked = ("visit", procedure, "--jobsheet", jobsheet, "--typed", "--silent", "--out", out)
    refused = run_here(*asked)
    assert refused.returncode == 1
    assert "one-reading is a draft: no author has approved it" in refused.stderr
    assert not out.exists()
    done = run(*asked, "--draft", keys="\n12\n\nfitted\n\n\n")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "This procedure is a draft." in done.stdout
    report = verify(out, replay=replay_of(out))
    assert report.ok
    assert "it was led by a draft, a procedure that no author approved" in report.remarks
    assert next(iter(read(out))).event["standing"]["status"] == "draft"
    assert "DRAFT: not approved by any author" in _text_of_report(run, out, tmp_path / "report.pdf")


@pytest.mark.slow("four programs")
def test_an_earlier_visit_is_told_at_the_opening_and_a_broken_one_is_not(
    run, tmp_path: Path, procedure: Path, jobsheet: Path
) -> None:
    """As the office hands it back: a package in a folder; a broken one is told in a line, and the visit begins."""
    asked = ("visit", procedure, "--jobsheet", jobsheet, "--typed", "--silent", "--draft")
    assert run(*asked, "--out", tmp_path / "first", keys="\n12\n\nfitted\n\n\n").returncode == 0
    earlier, second = tmp_path / "earlier", tmp_path / "second"
    name, package = without_sound(tmp_path / "first")
    (earlier / "broken").mkdir(parents=True)
    (earlier / name).write_bytes(package)
    (earlier / "broken" / "ledger.jsonl").write_bytes((tmp_path / "first" / "ledger.jsonl").read_bytes()[:-40])
    led = run(*asked, "--out", second, "--last-visits", earlier)
    assert "Last visit today: One reading, finished." in led.stdout
    assert "broken is not carried in: its record is broken: " in led.stderr
    assert "carried in from One reading of " in run("verify", second, "--accept-unanchored").stdout


@pytest.mark.slow("five programs, and a paper")
def test_an_unproven_procedure_is_led_only_when_asked_and_every_paper_says_so(
    run, tmp_path: Path, procedure: Path, jobsheet: Path
) -> None:
    """A cover that stays off: refused with the proofs that fail; led by a switch, and told for ever after."""
    own, out = tmp_path / "one-reading.yaml", tmp_path / "visit"
    text = procedure.read_text()
    kept_off = text.replace(
        "  - {id: cover-on, kind: restore, title: Cover on, source: a test, things: [cover]}\n", ""
    )
    assert kept_off != text
    own.write_text(kept_off)
    asked = ("visit", own, "--jobsheet", jobsheet, "--typed", "--silent", "--out", out)
    refused = run(*asked)
    assert refused.returncode == 1
    assert "one-reading is not proven: restored" in refused.stderr
    assert not out.exists()
    led = run(*asked, "--unproven", keys="\n12\n\n")
    assert "This procedure is not proven." in led.stdout
    assert next(iter(read(out))).event["unproven"] == ["restored"]
    assert next(iter(read(out))).event["standing"]["status"] == "draft"
    assert "not proven: restored" in run("verify", out).stdout
    assert "NOT PROVEN" in _text_of_report(run, out, tmp_path / "report.pdf")


def _text_of_report(run, visit: Path, paper: Path) -> str:
    done = run("report", visit, "--output", paper)
    assert done.returncode == 0, done.stderr
    return "".join(page.extract_text() for page in PdfReader(paper).pages)


def test_ctrl_c_loses_nothing_and_the_visit_goes_on(run, tmp_path: Path, procedure: Path, jobsheet: Path) -> None:
    """The interrupted visit says what is still altered, and after resuming asks for that first."""
    out = tmp_path / "visit"
    with subprocess.Popen(
        keyed_visit(procedure, jobsheet, out),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ,
    ) as process:
        assert process.stdin
        assert process.stdout
        assert process.stderr
        process.stdin.write("cover removed\n")
        process.stdin.flush()
        while "Ambient" not in process.stdout.readline():
            pass
        process.send_signal(signal.SIGINT)
        assert process.wait(120) == 3
        told = process.stderr.read()
    assert "Still altered: Cover" in told
    assert "Traceback" not in told
    assert "Aborted" not in told

    done = run("resume", out, "--typed", "--silent", keys="removed\n7\n\nfitted\n\n\n")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Cover?" in done.stdout
    lines = [json.loads(line) for line in (out / "ledger.jsonl").read_text().splitlines()]
    assert [line["seq"] for line in lines] == list(range(len(lines)))
    assert verify(out, replay=replay_of(out)).ok
