"""Real processes that write a visit are killed, and nothing they acknowledged is lost."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parents[1] / "ledger" / "support" / "killed.py"


def _run(*arguments: str) -> dict[str, object]:
    done = subprocess.run([sys.executable, str(SCRIPT), *arguments], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    result: dict[str, object] = json.loads(done.stdout)
    return result


@pytest.mark.parametrize("kills", [60, pytest.param(200, marks=pytest.mark.slow("two hundred processes"))])
def test_kills_at_random_times_lose_nothing(kills: int) -> None:
    """SIGKILL while a visit begins, goes on and resumes; the bench does it a thousand times."""
    result = _run("random", str(kills), "20260131")
    assert result["harm"] == []
    assert int(str(result["acknowledged"])) > kills // 2
    assert int(str(result["closed"])) > kills // 10


def test_a_process_that_dies_before_a_call_to_the_disk_loses_nothing() -> None:
    """Every seventh call of a whole visit; the bench takes each."""
    result = _run("calls", "7")
    assert result["harm"] == []
    assert int(str(result["points"])) > 15
