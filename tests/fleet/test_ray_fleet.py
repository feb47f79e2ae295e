"""The same work by Ray, a cluster of this machine alone: what kills or hangs is set aside, a cut goes on."""

import importlib.util
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow("Ray is started twice, each some ten seconds of work")
PREPARED = Path(sys.prefix, "ready-with-engines").exists()  # by .ci/prepare: then it must be there
if not PREPARED and importlib.util.find_spec("ray") is None:
    pytest.skip("Ray is not installed: it is no part of the fast stage", allow_module_level=True)

PATIENCE_S = 300


def lines_of(file):
    return [json.loads(line) for line in file.read_text().splitlines()] if file.exists() else []


def test_visits_that_kill_or_hang_are_set_aside_and_a_killed_driver_goes_on(visits, tmp_path):
    """The driver is killed when it has kept three; the next one does the rest and none of the three."""
    root, results = visits(12), tmp_path / "found.jsonl"
    for number in range(12):
        (root / f"{number:04}" / "odd").write_text("1")
    (root / "0001" / "odd").write_text("die")
    (root / "0009" / "odd").write_text("hang")
    command = [sys.executable, "-c", "import odd_work; odd_work.main()", "ray", str(root), str(results)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    cut = subprocess.Popen(command, env=environment, start_new_session=True, stdout=subprocess.PIPE)
    until = time.monotonic() + PATIENCE_S
    while sum(line["state"] == "done" for line in lines_of(results)) < 3:
        assert cut.poll() is None, "it ended"
        assert time.monotonic() < until, "nothing is done"
        time.sleep(0.1)
    os.kill(cut.pid, signal.SIGKILL)
    cut.communicate()
    kept = [line["name"] for line in lines_of(results) if line["state"] == "done"]
    done = subprocess.run(
        command,
        env=environment,
        start_new_session=True,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["before"] == len(kept) >= 3
    assert told["done"] == 10
    assert set(told["set aside"]) == {"0001", "0009"}
    assert "exit code 7" in told["set aside"]["0001"]
    assert "longer than 8 s" in told["set aside"]["0009"]
    names = [line["name"] for line in lines_of(results) if line["state"] == "done"]
    assert sorted(names) == sorted(set(names))
    assert len(names) == 10
