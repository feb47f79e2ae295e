"""The demo is a whole visit on real sound, and it cannot be faked."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.demo.play import Demo, DemoClock, scenario_files
from handsfree.hearing.recogniser import Recogniser
from handsfree.ledger import read, verify
from handsfree.procedure.languages import english
from handsfree.shipped import model_folder, procedure_path
from handsfree.speaking.voice import Voice, VoiceSettings
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder
from handsfree.visit.replaying import replay_of

whole = pytest.mark.slow("three hundred things said are rendered and heard")


@pytest.fixture(scope="module")
def whole_visit(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str], list[str]]:
    """Play the shipped procedure from beginning to end; return its folder, what was said, and the dialogue."""
    monkeypatch = pytest.MonkeyPatch()
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
    folder = tmp_path_factory.mktemp("visits") / "whole"
    plan, kept = load_plan(procedure_path("two-rate-combustion"), scenario_files()[0])
    clock, voice = DemoClock(), Voice(VoiceSettings(name="en-us+m3", words_per_minute=150))
    said: list[str] = []
    told: list[str] = []

    def say(words: str) -> np.ndarray | None:
        said.append(words)
        sound = voice.render(words)
        return None if sound is None else sound.at_rate(16_000).samples

    recorder, opening = Recorder.begin(folder, plan, kept, clock=clock)
    demo = Demo(
        recorder,
        clock,
        recogniser=Recogniser(model_folder()),
        say=say,
        tell=lambda who, text: told.append(f"{who}: {text}"),
        snr_db=20.0,
    )
    try:
        demo.play(opening)
    finally:
        recorder.release()
        voice.close()
        monkeypatch.undo()
    return folder, said, told


@whole
def test_the_whole_visit_ends_in_a_record_that_verifies_and_decides_the_same_again(whole_visit) -> None:
    """Seal, sounds, sources and decisions are all checked, and the visit is finished."""
    folder, _, _ = whole_visit
    report = verify(folder, replay=replay_of(folder))
    assert report.ok, report.sentence
    assert {"chain", "seals", "sounds", "sources", "decisions"} <= set(report.checks)
    assert list(read(folder))[-1].event["outcome"] == "finished"


@whole
def test_every_accepted_reading_was_said_aloud(whole_visit) -> None:
    """No value in the record comes from anywhere but the technician's mouth, digit for digit."""
    folder, said, _ = whole_visit
    accepted = [
        e.event["reading"] for e in read(folder) if e.kind == "reading-accepted" and e.event["how"] != "timed"
    ]
    assert len(accepted) > 60
    digits = english().numbers.digits
    unsaid = [r for r in accepted if not any(digits(Decimal(r["value"])) in f" {words} " for words in said)]
    assert unsaid == []


@whole
def test_the_demo_shows_what_it_promises(whole_visit) -> None:
    """One correction, one reading not settled at first, and at least one turn of an adjuster."""
    folder, _, told = whole_visit
    kinds = [entry.kind for entry in read(folder)]
    settled = [e.event["settled"] for e in read(folder) if e.kind == "settling-judged"]
    assert "reading-corrected" in kinds
    assert False in settled
    assert "turned" in kinds
    assert any(way in line for line in told for way in ("still rising", "still falling")), told


@pytest.mark.slow("two visits are rendered and heard")
def test_another_clip_gives_another_value(run, tmp_path: Path, procedure: Path) -> None:
    """Only the sound decides: "two three" spoken where the script says "zero" is read back as 23 and corrected."""
    voice = Voice(VoiceSettings(name="en-us+m3", words_per_minute=150))
    sound = voice.render("two three")
    voice.close()
    assert sound is not None
    clips = tmp_path / "clips"
    clips.mkdir()
    soundfile.write(clips / "zero.wav", sound.samples, sound.rate)
    values = {}
    for name, more in (("plain", []), ("replaced", ["--clips", clips])):
        out = tmp_path / name
        done = run("demo", "--json", "--procedure", procedure, "--out", out, *more)
        assert done.returncode == 0, done.stderr
        entries = [json.loads(line) for line in (out / "ledger.jsonl").read_text().splitlines()]
        values[name] = [v["value"] for e in entries if e["kind"] == "read-back" for v in e["event"]["values"]]
        corrected = [e["event"]["was"]["value"] for e in entries if e["kind"] == "reading-corrected"]
        assert corrected == (["23"] if more else [])
    assert set(values["plain"]) == {"0"}
    assert "23" in values["replaced"]


def test_without_its_model_the_demo_fails(run, tmp_path: Path) -> None:
    """There is no other way to hear."""
    done = run("demo", "--model", tmp_path / "none", "--out", tmp_path / "visit")
    assert done.returncode == 2
    assert "model" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "visit").exists()
