"""A machine that is too slow is told from a program that is wrong, and neither is taken for the other."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.lag import REASON, TOLD_EACH_S, Lag, Timekeeper

ROOT = Path(__file__).parents[1]
QUIET, LATE, CROWDED = Lag(0.004, 0.9), Lag(0.3, 0.9), Lag(0.004, 3.0)


@pytest.mark.parametrize(("lag", "slow"), [(QUIET, False), (LATE, True), (CROWDED, True)])
def test_late_or_crowded_is_too_slow(lag: Lag, slow: bool) -> None:
    assert lag.too_slow == slow


def test_a_pause_of_the_timekeeper_is_measured_and_is_over_afterwards() -> None:
    """It is stopped for 0.6 s, as by a machine that gives it no processor: at least so late is what it tells."""
    keeper = Timekeeper()
    keeper.start()
    try:
        keeper.since(time.monotonic())
        begun = time.monotonic()
        process = keeper._process
        assert process is not None
        os.kill(process.pid, signal.SIGSTOP)
        time.sleep(0.6)
        os.kill(process.pid, signal.SIGCONT)
        time.sleep(2 * TOLD_EACH_S)
        late = keeper.since(begun).late_s
        assert late >= 0.5
        time.sleep(2 * TOLD_EACH_S)
        assert keeper.since(time.monotonic()).late_s < late
    finally:
        keeper.stop()


def test_a_timekeeper_that_is_not_let_run_tells_a_lag_too() -> None:
    keeper = Timekeeper()
    assert keeper.since(time.monotonic()).too_slow


TRIED = """
import pytest
from tests import conftest
from tests.lag import Lag

conftest._TIME.since = lambda _: {lag!r}

@pytest.mark.real_time
def test_passes():
    pass

@pytest.mark.real_time
def test_fails():
    assert 1 == 2

@pytest.mark.real_time
def test_fails_whatever_the_machine_did():
    pytest.fail("damaged")

def test_fails_in_no_time():
    assert 1 == 2
"""
ALWAYS = {"passes": "passed", "fails_whatever_the_machine_did": "failed", "fails_in_no_time": "failed"}


@pytest.mark.parametrize(
    ("lag", "told"),
    [
        (QUIET, ALWAYS | {"fails": "failed"}),
        (LATE, ALWAYS | {"fails": "skipped"}),
    ],
)
def test_only_a_real_time_test_is_excused_and_only_by_a_slow_machine(
    tmp_path: Path, lag: Lag, told: dict[str, str]
) -> None:
    """Four tests run as all ours are; what was measured and what failed stand in the reason."""
    (tmp_path / "test_tried.py").write_text(TRIED.format(lag=lag), "utf-8")
    options = ["-q", "-rA", "-p", "tests.conftest", "-c", str(ROOT / "pyproject.toml"), "--rootdir", str(tmp_path)]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *options, "test_tried.py"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "CI": "true"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    for name, outcome in told.items():
        if outcome != "skipped":
            assert f"{outcome.upper()} test_tried.py::test_{name}" in done.stdout, done.stdout
    judged = f"not judged: test_tried.py::test_fails: {REASON}: what was due came up to 300 ms late"
    assert (judged in done.stdout) == (lag is LATE)
    if lag is LATE:
        assert "assert 1 == 2" in done.stdout.partition(judged)[2].splitlines()[0]
        assert "without being listed" not in done.stdout
    assert done.returncode == 1
