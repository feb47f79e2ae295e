"""Runs the installed command as a person would: another process, an empty folder, a state of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

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


@pytest.fixture(scope="session")
def procedure() -> Path:
    """The short procedure of these tests."""
    return Path(__file__).with_name("one-reading.yaml")


@pytest.fixture(scope="session")
def jobsheet() -> Path:
    """The demo's job sheet."""
    return ROOT / "handsfree" / "demo" / "jobsheet.yaml"
