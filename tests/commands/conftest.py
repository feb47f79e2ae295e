"""Runs the installed command as a person would: another process, an empty folder, a state of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from handsfree.commands.app import main

Run = Callable[..., subprocess.CompletedProcess[str]]
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run `handsfree` with arguments in an empty folder."""
    empty = tmp_path / "empty"
    empty.mkdir()

    def run_(*arguments: object, keys: str = "", timeout: float = 120) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "handsfree.commands.app", *map(str, arguments)],
            cwd=empty,
            input=keys,
            capture_output=True,
            text=True,
            timeout=timeout,
            env=os.environ,
            check=False,
        )

    return run_


@pytest.fixture
def run_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the same command line within this process, for what is refused before anything begins.

    A start takes two seconds of a processor; that a command of its own tells a refusal alike is shown by `run`.
    """
    empty = tmp_path / "empty here"
    empty.mkdir()

    def run_(*arguments: object) -> subprocess.CompletedProcess[str]:
        monkeypatch.chdir(empty)
        monkeypatch.setattr(sys, "argv", ["handsfree", *map(str, arguments)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as left:
            main()
        told = capsys.readouterr()
        return subprocess.CompletedProcess(sys.argv, int(left.value.code or 0), told.out, told.err)

    return run_


@pytest.fixture(scope="session")
def procedure() -> Path:
    """The short procedure of these tests."""
    return Path(__file__).with_name("one-reading.yaml")


@pytest.fixture(scope="session")
def jobsheet() -> Path:
    """The demo's job sheet."""
    return ROOT / "handsfree" / "demo" / "jobsheet.yaml"
