"""What verifying the demo's visit costs as a whole process, by several checkouts in turn.

    python tests/bench/desk/verifying.py [PAIRS [CHECKOUT ...]]     # 5 pairs, of this checkout alone, without

Records the visit once, by this checkout, then lets each checkout run `handsfree verify` on it, one after the
other, PAIRS times. Prints the CPU seconds, user and system, of each process, then the least and the median.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parents[3]
for folder in ("desk", "office"):
    sys.path.insert(0, str(HERE / "tests" / folder / "support"))

from invented_visits import record_visit  # noqa: E402
from lists import enrol_devices  # noqa: E402


def spent(checkout: Path, visit: Path) -> float:
    """CPU seconds of one process that verifies the visit; it must say that all is well."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "handsfree.commands.app", "verify", str(visit)]
    env = {**os.environ, "PYTHONPATH": str(checkout)}
    subprocess.run(command, check=True, capture_output=True, env=env, cwd=checkout)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    pairs, *others = sys.argv[1:] or ["5"]
    checkouts = [Path(each).resolve() for each in others] or [HERE]
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        os.environ["HANDSFREE_STATE"] = str(root / "state")
        visit = record_visit(root / "visits" / "whole")
        enrol_devices(root / "visits", root / "state")
        found: dict[Path, list[float]] = {each: [] for each in checkouts}
        for _ in range(int(pairs)):
            for checkout, taken in found.items():
                taken.append(spent(checkout, visit))
            print("  ".join(f"{taken[-1]:6.2f}" for taken in found.values()), flush=True)
    for checkout, taken in found.items():
        print(f"least {min(taken):.2f}, median {statistics.median(taken):.2f} CPU s: {checkout}")


if __name__ == "__main__":
    main()
