"""The built wheel carries all it needs and runs from an empty folder."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_the_wheel_runs_by_itself(tmp_path: Path) -> None:
    """Procedures, model and lock travel in it, the training does not, and a visit can be played from it."""
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    subprocess.run(
        [*pip, "wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", tmp_path, ROOT],
        check=True,
        capture_output=True,
    )
    (wheel,) = tmp_path.glob("handsfree-*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    assert "handsfree/shipped/procedures/two-rate-combustion.yaml" in names
    assert "handsfree/shipped/models/english/am/final.mdl" in names
    assert not [name for name in names if "training" in name or name.startswith(("tests", "models"))]

    target, empty = tmp_path / "installed", tmp_path / "empty"
    empty.mkdir()
    subprocess.run([*pip, "install", "--no-deps", "--target", target, wheel], check=True, capture_output=True)
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
        [sys.executable, "-m", "handsfree.commands.app", "demo", "--procedure", short, "--out", "visit"],
        cwd=empty,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert played.returncode == 0, played.stderr
    assert (empty / "visit" / "ledger.jsonl").is_file()
