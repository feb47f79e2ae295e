"""How much processor time a short command takes from a cold start, user and system together.

Run: python tests/bench/commands/cold_start.py
Each is started seven times as a process of its own; the least and the median are printed, in seconds. The first
line is Python alone.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys

PROGRAM = ("-m", "handsfree.commands.app")
COMMANDS = (
    ("-c", "pass"),
    (*PROGRAM, "--version"),
    (*PROGRAM, "--help"),
    (*PROGRAM, "visit", "--help"),
    (*PROGRAM, "flue", "--fuel", "ng", "--co2", "9"),
    (*PROGRAM, "verify", "--help"),
    (*PROGRAM, "check", "--help"),
)


def seconds(arguments: tuple[str, ...]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    for arguments in COMMANDS:
        taken = [seconds(arguments) for _ in range(7)]
        print(f"{min(taken):6.3f} s least, {statistics.median(taken):6.3f} s median  {' '.join(arguments)}")


if __name__ == "__main__":
    main()
