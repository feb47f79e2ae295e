"""A program that has run out of file handles still records: what used them up is not the visit's concern."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

SCRIPT = """
import os, resource, sys
from pathlib import Path
import numpy as np
import handsfree.ledger.sound
from handsfree.ledger import Ledger, read

folder = Path(sys.argv[1])
with Ledger.create(folder / "visit", {"procedure": "none"}, state=folder / "state") as ledger:
    ledger.append([("noted", {"text": "before"})])
    resource.setrlimit(resource.RLIMIT_NOFILE, (64, 64))
    used = []
    try:
        while True:
            used.append(os.open(os.devnull, os.O_RDONLY))
    except OSError as error:
        assert error.errno == 24, error  # too many open files
    for number in range(20):
        ledger.append([("noted", {"text": f"without handles {number}"})])
        ledger.keep_sound(np.full(1600, number, np.int16), 16_000)
    try:
        used.append(os.open(os.devnull, os.O_RDONLY))
        raise SystemExit("a handle of the reserve was left to others")
    except OSError:
        pass
    for handle in used:
        os.close(handle)
entries = [entry for entry in read(folder / "visit") if entry.kind == "noted"]
print(len(entries), len(list((folder / "visit" / "sound").iterdir())))
"""


def test_a_visit_is_recorded_when_no_handle_is_left(tmp_path: Path) -> None:
    """Entries, their keys and sounds, twenty of each; then the reserve is whole again."""
    told = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert told.stdout.split() == ["21", "20"], told.stderr[-2_000:]
