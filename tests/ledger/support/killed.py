"""Kills real processes that write a visit on a real disk, and checks what they leave.

    python killed.py random KILLS SEED     at random times
    python killed.py calls STRIDE          before every STRIDE-th call to the disk of a whole visit

Prints one JSON object; exits 1 when anything acknowledged was lost or a record was called tampered with.
A killed process loses no page of the system's cache, so this tests the order of the calls and the recovery;
the loss of unflushed pages is the faulty disk's part.
"""

from __future__ import annotations

import json
import os
import random
import select
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

from handsfree.ledger import CLOSED, DeviceKey, Ledger, RecordVerdict, read, verify
from handsfree.ledger.files import Disk
from handsfree.ledger.sound import flac  # noqa: F401 - loaded here once, not in each child
from handsfree.problem import Problem


class Fatal:
    """The real disk, except that the process kills itself before the call of a given number."""

    def __init__(self, number: int) -> None:
        self._disk, self._left = Disk(), number

    def __getattr__(self, name: str) -> object:
        return partial(self._call, getattr(self._disk, name))

    def _call(self, call: Callable[..., object], *given: object) -> object:
        self._left -= 1
        if self._left < 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return call(*given)


def write_visit(folder: Path, state: Path, acknowledge: Callable[[str], None], disk: Disk, batches: int) -> None:
    """Begin or resume a visit, and acknowledge each append by its count and digest."""
    if (folder / "ledger.jsonl").exists():
        ledger = Ledger.open(folder, state=state, files=disk)
    else:
        sources = {"procedure.yaml": b"gates: []\n"}
        device = DeviceKey(state, disk, uses=8)
        ledger = Ledger.create(folder, {"job": "made up"}, sources=sources, state=state, files=disk, device=device)
    acknowledge(f"{ledger.head().count} {ledger.head().digest}")
    for number in range(batches):
        event = {"words": ["nine", "point", "three"], "number": number}
        if number % 5 == 2:
            event["sound"] = ledger.keep_sound((np.arange(400) * number).astype(np.int16), 16_000)
        ledger.append([("heard", event), ("reading", {"value": "9.30", "unit": "%"})])
        acknowledge(f"{ledger.head().count} {ledger.head().digest}")
    ledger.append([(CLOSED, {})])


def killed_child(
    folder: Path, state: Path, disk: Disk, batches: int, kill: Callable[[int, int], None]
) -> tuple[list[str], bool]:
    """Let a child write while `kill` is given its number and its pipe.

    Return what it acknowledged and whether it came to the end.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        status = 1
        try:
            write_visit(folder, state, lambda line: os.write(writing, f"{line}\n".encode()), disk, batches)
            status = 0
        finally:
            os._exit(status)
    os.close(writing)
    kill(child, reading)
    with os.fdopen(reading, "rb") as pipe:
        acknowledged = pipe.read().decode().splitlines()
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise AssertionError("the child failed by itself")
    return acknowledged, os.WIFEXITED(status)


def killing(rng: random.Random) -> Callable[[int, int], None]:
    """Kill within 60 ms of the start, or, twice as often, within 60 ms of the first acknowledgement."""
    wait, started = rng.uniform(0, 0.06), rng.random() < 2 / 3

    def kill(child: int, pipe: int) -> None:
        if started:
            select.select([pipe], [], [], 10)
        time.sleep(wait)
        os.kill(child, signal.SIGKILL)

    return kill


def harm(folder: Path, state: Path, acknowledged: list[str]) -> list[str]:
    """Return what was lost or falsely called tampering."""
    if not (folder / "ledger.jsonl").exists():
        return ["the visit is gone"] if acknowledged else []
    found = []
    report = verify(folder, state=state)
    if report.verdict == RecordVerdict.BROKEN:
        found.append(report.sentence)
    kept = {f"{entry.seq + 1} {entry.digest}" for entry in read(folder)}
    return found + [f"acknowledged and lost: {line}" for line in acknowledged if line not in kept]


def closes(folder: Path, state: Path) -> list[str]:
    """Resume a visit and close it; return what is in the way."""
    try:
        with Ledger.open(folder, state=state) as ledger:
            ledger.append([(CLOSED, {})])
    except Problem as problem:
        if "closed" not in problem.sentence():
            return [problem.sentence()]
    report = verify(folder, state=state)
    return [] if report.ok else [report.sentence]


def at_random(kills: int, seed: int) -> dict[str, object]:
    rng, harmed, resumed, acknowledged_in_all = random.Random(seed), [], 0, 0
    with tempfile.TemporaryDirectory() as root:
        done = visit = 0
        while done < kills:
            folder, state, acknowledged = Path(root, f"visit-{visit}"), Path(root, "state"), []
            for _ in range(rng.randrange(1, 5)):
                acknowledged += killed_child(folder, state, Disk(), 10_000, killing(rng))[0]
                harmed += harm(folder, state, acknowledged)
                done += 1
                if not (folder / "ledger.jsonl").exists():
                    break
            else:
                resumed += 1
                harmed += closes(folder, state)
            acknowledged_in_all += len(acknowledged)
            visit += 1
            if visit % 7 == 0:  # one-time keys are few here
                DeviceKey(state, uses=8).renew()
    return {"kills": done, "visits": visit, "closed": resumed, "acknowledged": acknowledged_in_all, "harm": harmed}


def at_calls(stride: int) -> dict[str, object]:
    harmed, points = [], 0
    with tempfile.TemporaryDirectory() as root:
        for number in range(0, 100_000, stride):
            folder, state = Path(root, f"visit-{number}"), Path(root, f"state-{number}")
            acknowledged, ended = killed_child(folder, state, Fatal(number), 6, lambda _child, _pipe: None)
            harmed += harm(folder, state, acknowledged)
            if (folder / "ledger.jsonl").exists():
                harmed += closes(folder, state)
            if ended:
                break
            points += 1
    return {"points": points, "harm": harmed}


if __name__ == "__main__":
    what, *numbers = sys.argv[1:]
    result = at_random(*map(int, numbers)) if what == "random" else at_calls(*map(int, numbers))
    print(json.dumps(result, indent=1))
    sys.exit(bool(result["harm"]))
