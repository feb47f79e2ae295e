"""Bad input gets one clear sentence, with the place where there is one, and never a traceback."""

from __future__ import annotations

import resource
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.programs import keyed_visit, program

ROOT = Path(__file__).resolve().parents[2]


def _refused(done: subprocess.CompletedProcess[str], *parts: str, code: int = 2) -> None:
    assert done.returncode == code, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stderr + done.stdout
    for part in parts:
        assert part in done.stderr, done.stderr


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    path = tmp_path / "broken.yaml"
    path.write_text("handsfree: 2\nprocedure: broken\ngates: [\n")
    return path


def test_a_broken_procedure_is_named_with_its_line(run, broken: Path, jobsheet: Path) -> None:
    _refused(run("visit", broken, "--jobsheet", jobsheet, "--typed"), "broken.yaml:", "YAML")


def test_an_unknown_procedure_names_the_shipped_ones(run_here, jobsheet: Path) -> None:
    _refused(run_here("visit", "nonesuch", "--jobsheet", jobsheet, "--typed"), "nonesuch", "two-rate-combustion")


def test_an_unknown_gate_names_the_known_ones(run_here, tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.zeros(1600, np.int16), 16_000)
    _refused(
        run_here("hear", tmp_path / "a.wav", "--gate", "safe-isolation:nonesuch"), "nonesuch", "power-isolated"
    )


def test_a_missing_job_sheet_is_named(run_here, tmp_path: Path) -> None:
    _refused(run_here("visit", "safe-isolation", "--jobsheet", tmp_path / "no.yaml", "--typed"), "no.yaml")


def test_a_job_sheet_with_a_wrong_value_is_named_with_its_line(run_here, tmp_path: Path, jobsheet: Path) -> None:
    (tmp_path / "appliance-24.yaml").write_text((jobsheet.parent / "appliance-24.yaml").read_text())
    wrong = tmp_path / "jobsheet.yaml"
    wrong.write_text(jobsheet.read_text().replace("co2: measured", "co2: guessed"))
    line = next(n for n, text in enumerate(wrong.read_text().splitlines(), 1) if "guessed" in text)
    _refused(run_here("jobsheet", wrong), f"jobsheet.yaml:{line}:", "guessed")


@pytest.mark.parametrize(
    ("name", "content", "says"), [("empty.wav", b"", "empty"), ("text.wav", b"hello", "sound")]
)
def test_a_file_that_is_no_sound_is_named(run_here, tmp_path: Path, name: str, content: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(content)
    _refused(run_here("hear", tmp_path / name), name, says)


@pytest.mark.slow("the recogniser's model is read by a program of its own")
def test_a_44100_hz_stereo_file_is_heard(run, tmp_path: Path) -> None:
    """Any common rate and number of channels will do."""
    soundfile.write(tmp_path / "cd.wav", np.zeros((44_100, 2), np.int16), 44_100)
    done = run("hear", tmp_path / "cd.wav", "--json")
    assert done.returncode == 0, done.stderr
    assert '"text": ""' in done.stdout


def test_a_folder_in_the_way_is_not_overwritten(run_here, tmp_path: Path, procedure: Path, jobsheet: Path) -> None:
    (tmp_path / "kept.txt").write_text("mine")
    _refused(
        run_here("visit", procedure, "--draft", "--jobsheet", jobsheet, "--typed", "--out", tmp_path), "not empty"
    )
    assert (tmp_path / "kept.txt").read_text() == "mine"


def test_a_folder_that_cannot_be_written_is_named(
    run_here, tmp_path: Path, procedure: Path, jobsheet: Path
) -> None:
    (tmp_path / "file").write_text("")
    done = run_here(
        "visit", procedure, "--draft", "--jobsheet", jobsheet, "--typed", "--out", tmp_path / "file" / "visit"
    )
    assert done.returncode in {1, 2}
    assert "file" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow("a visit on a full disk, by a program of its own")
def test_a_full_disk_is_told_in_a_sentence_and_loses_nothing(
    tmp_path: Path, procedure: Path, jobsheet: Path
) -> None:
    """A file size limit stands in for the full disk: the write fails in the same place."""
    out = tmp_path / "visit"
    done = subprocess.run(
        keyed_visit(procedure, jobsheet, out),
        input="repeat\n" * 300,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000)),
    )
    assert done.returncode == 1, (done.stdout, done.stderr)
    assert "ledger.jsonl" in done.stderr
    assert "Traceback" not in done.stderr
    resumed = subprocess.run(
        program("resume", out, "--typed", "--silent"),
        input="",
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert resumed.returncode == 3, (resumed.stdout, resumed.stderr)


def test_resuming_what_is_no_visit_is_told(run_here, tmp_path: Path) -> None:
    _refused(run_here("resume", tmp_path, "--typed"), str(tmp_path))
    _refused(run_here("verify", tmp_path / "nothing"), code=2)


def test_a_number_that_cannot_be_said_is_told(run_here, tmp_path: Path, jobsheet: Path, procedure: Path) -> None:
    bad = tmp_path / "one-reading.yaml"
    bad.write_text(procedure.read_text().replace("quantity: ambient_co", "quantity: nonesuch"))
    _refused(run_here("visit", bad, "--draft", "--jobsheet", jobsheet, "--typed"), "nonesuch", "one-reading.yaml:")


@pytest.mark.slow("two models are loaded")
def test_a_gate_hears_the_words_that_its_procedure_spells(run, tmp_path: Path, procedure: Path) -> None:
    """A word that no dictionary has is heard as the procedure's own `words` say it."""
    own = tmp_path / "one-reading.yaml"
    spelled = procedure.read_text().replace("things:", "words: {zorbled: Z AO R B AH L D}\nthings:", 1)
    own.write_text(spelled.replace("done: [cover removed]", "done: [zorbled]"))
    soundfile.write(tmp_path / "a.wav", np.zeros(1600, np.int16), 16_000)
    done = run("hear", tmp_path / "a.wav", "--gate", f"{own}:cover-off", "--json")
    assert done.returncode == 0, done.stderr
    assert '"text": ""' in done.stdout


def test_another_language_of_model_is_refused(run, tmp_path: Path) -> None:
    """A folder without the files of a model is named with the first that is missing."""
    (tmp_path / "model").mkdir()
    soundfile.write(tmp_path / "a.wav", np.zeros(1600, np.int16), 16_000)
    _refused(run("hear", tmp_path / "a.wav", "--model", tmp_path / "model"), "final.mdl")
