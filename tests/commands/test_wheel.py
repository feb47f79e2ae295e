"""The built wheel carries all it needs and runs from an empty folder."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


PIP = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the tree."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [*PIP, "wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", folder, ROOT]
    subprocess.run(build, check=True, capture_output=True)
    (built,) = folder.glob("handsfree-*.whl")
    return built


def test_procedures_model_and_lock_travel_in_the_wheel_and_the_training_does_not(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        lock = packed.read("handsfree/shipped/locks/program.txt")
    assert "handsfree/shipped/procedures/two-rate-combustion.yaml" in names
    assert "handsfree/shipped/models/english/am/final.mdl" in names
    assert not [name for name in names if "training" in name or name.startswith(("tests", "models"))]
    assert lock == (ROOT / ".ci" / "locks" / "program.txt").read_bytes()


@pytest.mark.slow("the wheel is installed with its model, and a visit is played from it")
def test_the_wheel_runs_by_itself(wheel: Path, tmp_path: Path) -> None:
    """It finds its own model and lock, and a visit can be played from it."""
    target, empty = tmp_path / "installed", tmp_path / "empty"
    empty.mkdir()
    subprocess.run([*PIP, "install", "--no-deps", "--target", target, wheel], check=True, capture_output=True)
    environment = {**os.environ, "PYTHONPATH": str(target)}
    model, lock = subprocess.run(
        [sys.executable, "-c", "import handsfree.shipped as s; print(s.model_folder(), s.lock_file())"],
        cwd=empty,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert model.startswith(str(target))
    assert lock.startswith(str(target))
    assert Path(lock).read_bytes() == (ROOT / ".ci" / "locks" / "program.txt").read_bytes()
    short = Path(__file__).with_name("one-reading.yaml")
    played = subprocess.run(
        [
            sys.executable,
            "-m",
            "handsfree.commands.app",
            "demo",
            "--procedure",
            short,
            "--out",
            "visit",
            "--no-third-opinion",
        ],
        cwd=empty,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert played.returncode == 0, played.stderr
    assert (empty / "visit" / "ledger.jsonl").is_file()
