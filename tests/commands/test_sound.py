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
    }  # fmt: skip
    assert told["above_noise_db"] == pytest.approx(15, abs=4)
    assert told["usable"] is True


def test_a_file_that_is_not_there_is_a_problem(run, tmp_path):
    result = run("--file", tmp_path / "nothing.wav")
    assert isinstance(result.exception, Problem)
    assert "there is no such sound file" in str(result.exception)
