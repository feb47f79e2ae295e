import json
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
import typer
from typer.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "hearing"))

from sounds import mixed, spoken

from handsfree.commands.sound import soundcheck
from handsfree.hearing.model_folder import ModelFolder
from handsfree.hearing.sound_check import REFUSED_DB
from handsfree.problem import ExitCode, Problem


@pytest.fixture
def run():
    app = typer.Typer()
    app.command()(soundcheck)
    return lambda *arguments: CliRunner().invoke(app, [str(each) for each in arguments])


@pytest.fixture
def clip(tmp_path):
    """Make a stereo file of the voice in burner noise at a ratio."""

    def make(ratio_db):
        samples = mixed(spoken(3.0, "nine point three", 1.0), ratio_db)
        path = tmp_path / "check.wav"
        soundfile.write(path, np.repeat(samples[:, None], 2, axis=1), 16000)
        return path

    return make


def test_good_sound_is_said_to_be_good_with_its_figures(run, clip):
    result = run("--file", clip(25))
    assert result.exit_code == ExitCode.DONE
    assert "The sound is good." in result.output
    assert "Ratio" in result.output


def test_sound_too_noisy_for_the_voice_fails_and_points_to_the_keys(run, clip):
    result = run("--file", clip(0))
    assert result.exit_code == ExitCode.FAILED
    assert "answer with the keys" in result.output


def test_json_holds_the_figures_and_the_advice(run, clip):
    told = json.loads(run("--json", "--file", clip(15)).output)
    assert set(told) == {
        "noise_db", "speech_db", "above_noise_db", "clipped", "overflows", "seconds", "usable", "advice",
        "expected",
    }  # fmt: skip
    assert told["above_noise_db"] == pytest.approx(15, abs=4)
    assert told["usable"] is True


def test_a_file_that_is_not_there_is_a_problem(run, tmp_path):
    result = run("--file", tmp_path / "nothing.wav")
    assert isinstance(result.exception, Problem)
    assert "there is no such sound file" in str(result.exception)


def test_the_accuracy_to_expect_is_told_when_it_was_measured_for_this_model(run, clip, tmp_path):
    """A made-up model with made-up figures, of which all hold at every level."""
    model = tmp_path / "models" / "english"
    (model / "am").mkdir(parents=True)
    (model / "am" / "final.mdl").write_bytes(b"invented")
    figures = {
        "measured": "2026-11-25",
        "model": ModelFolder(model).identity,
        "levels_db": [0, 20],
        "kinds": {"readings": {"right": [9, 9], "of": [10, 10]}},
    }
    (model.parent / "accuracy.json").write_text(json.dumps(figures))
    told = run("--model", model, "--file", clip(15)).output
    assert "Expect about 9 of 10 readings right at the first call (measured 2026-11-25)." in told
    assert json.loads(run("--json", "--model", model, "--file", clip(15)).output)["expected"] == {
        "readings": "0.900"
    }


def test_sound_that_is_refused_is_not_praised_by_its_figures(run, clip):
    """At about 4.4 dB, below the limit: "too noisy" and "8 of 10 right" would contradict each other."""
    result = run("--file", clip(4.4))
    assert result.exit_code == ExitCode.FAILED
    (ratio,) = [line.split()[1] for line in result.output.splitlines() if line.startswith("Ratio")]
    assert 3 < float(ratio) < REFUSED_DB
    assert "Too noisy to be led by voice." in result.output
    assert "Expect" not in result.output
    assert "Not right at the first call here: about 1 of 10 single words, about 2 of 10 readings" in result.output


def test_nothing_is_expected_of_a_model_that_was_not_measured(run, clip, tmp_path):
    model = tmp_path / "models" / "other"
    model.mkdir(parents=True)
    assert "Expect" not in run("--model", model, "--file", clip(15)).output
    assert json.loads(run("--json", "--model", model, "--file", clip(15)).output)["expected"] is None
