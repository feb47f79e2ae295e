"""The record and the power: all the cases of which the tests take a part.

    python tests/bench/ledger/crash.py [kills calls cuts sectors failures truncation ...]

kills       1,000 real processes killed at random times while they begin, write and resume visits
calls       a real process that dies before each call to the disk of a whole visit
cuts        power cut at every call of a visit, six uniform losses each, and again at every call of the recovery
sectors     10,000 seeded cases of unflushed sectors (512 and 4,096 bytes) kept, lost or zeroed
failures    every call failing with EIO, ENOSPC, EINTR or a short write, once and from then on
truncation  a record of 200 entries cut at every byte

Exits 1 when anything acknowledged was lost, a visit could not go on, or a crash was called tampering.
"""

# ruff: noqa: E402 - the folder with the faulty disk must be on the path first

from __future__ import annotations

import errno
import json
import random
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

SUPPORT = Path(__file__).resolve().parents[2] / "ledger" / "support"
sys.path[:0] = [str(SUPPORT), str(SUPPORT.parents[2])]

from attacks import LEDGER, remembered_links, truncated
from faulty_disk import EVERY_SAME, Loss, PowerCut
from outcomes import assert_survived, calls_of_a_visit, cut, restarted, told_of_failures
from visits import recorded

Outcome = tuple[int, list[str]]
"""How many cases there were, and what harm was done."""


def kills() -> Outcome:
    return _killed("random", "1000", "1")


def calls() -> Outcome:
    return _killed("calls", "1")


def _killed(*arguments: str) -> Outcome:
    done = subprocess.run(
        [sys.executable, str(SUPPORT / "killed.py"), *arguments], capture_output=True, text=True, check=False
    )
    result = json.loads(done.stdout)
    harm = result.pop("harm")
    print(f"  {result}")
    return int(result.get("kills", result.get("points"))), harm


def cuts() -> Outcome:
    count, harm = 0, []
    for number in range(calls_of_a_visit()):
        visit = cut(number)
        for loss in EVERY_SAME:
            count += 1
            harm += _judged(lambda visit=visit, loss=loss: assert_survived(restarted(visit, loss)))
        for again in range(60):
            rng = random.Random(f"{number}-{again}")
            second = restarted(visit, Loss.seeded(rng, 512), cut_again_at=again)
            try:
                second.finish()
            except PowerCut:
                count += 1
                third = restarted(second, Loss.seeded(rng, 512))
                harm += _judged(lambda third=third: assert_survived(third))
    return count, harm


def sectors() -> Outcome:
    harm, length = [], calls_of_a_visit()
    for seed in range(10_000):
        rng = random.Random(seed)
        visit = cut(rng.randrange(length))
        again = restarted(visit, Loss.seeded(rng, 512 if seed % 2 else 4096))
        harm += _judged(lambda again=again: assert_survived(again))
    return 10_000, harm


def failures() -> Outcome:
    harm, length = [], calls_of_a_visit()
    for failure in (errno.EIO, errno.ENOSPC, errno.EINTR, "short"):
        for sticky in (False, True):

            def sweep(failure: int | str = failure, *, sticky: bool = sticky) -> None:
                told = told_of_failures(failure, range(length), sticky=sticky)
                assert told == (0 if failure == "short" else length), f"{failure}: told {told} of {length}"

            harm += _judged(sweep)
    return 8 * length, harm


def truncation() -> Outcome:
    disk = recorded(200)
    data = disk.bytes_of(LEDGER)
    return len(data) + 1, truncated(data, disk, range(len(data) + 1))


def _judged(judge: Callable[[], None]) -> list[str]:
    try:
        judge()
    except Exception as error:  # noqa: BLE001 - any harm is counted
        return [repr(error)]
    return []


PARTS: dict[str, Callable[[], Outcome]] = {
    "kills": kills,
    "calls": calls,
    "cuts": cuts,
    "sectors": sectors,
    "failures": failures,
    "truncation": truncation,
}

if __name__ == "__main__":
    harmed = 0
    for name in sys.argv[1:] or PARTS:
        started = time.perf_counter()
        with remembered_links():
            count, harm = PARTS[name]()
        harmed += len(harm)
        print(f"{name:11} {count:7,} cases  {len(harm)} harmed  {time.perf_counter() - started:6.1f} s")
        for line in harm[:5]:
            print(f"    {line}")
    sys.exit(harmed > 0)
