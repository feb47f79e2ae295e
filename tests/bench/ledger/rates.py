"""How fast the record is written and verified, next to the raw speed of the machine in the same run.

    python tests/bench/ledger/rates.py [ENTRIES]      (default 100,000)

Appends one event at a time, durable and with the flushes left out; then writes ENTRIES in batches of a
hundred, opens, verifies and replays them, and gives the highest memory of each pass above the start.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

from handsfree.ledger import CLOSED, Difference, Entry, Ledger, verify
from handsfree.ledger.files import Disk
from handsfree.ledger.ratchet import Secret, holds

EVENT = {"words": ["nine", "point", "three"], "grammar": "0123456789ab", "from": 1200, "to": 2100}


class Unflushed(Disk):
    """The disk without its flushes: what durability costs is the difference."""

    def fsync(self, handle: int) -> None:
        """Leave the flush out."""

    def fsync_folder(self, path: Path) -> None:
        """Leave the flush out."""


def timed(call: Callable[[], object], times: int) -> list[float]:
    """Milliseconds of each call, sorted."""
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        call()
        taken.append((time.perf_counter() - started) * 1e3)
    return sorted(taken)


def spread(what: str, ms: list[float]) -> None:
    rate = 1e3 * len(ms) / sum(ms)
    p50, p99 = ms[len(ms) // 2], ms[len(ms) * 99 // 100]
    print(f"{what:44} {rate:9,.0f} /s   p50 {p50:.2f}  p99 {p99:.2f}  max {ms[-1]:.2f} ms")


def appends(root: Path) -> None:
    for name, disk, times in (("durable", Disk(), 2_000), ("flushes left out", Unflushed(), 2_000)):
        with Ledger.create(root / name, {}, state=root / "state", files=disk) as ledger:
            spread(f"append one event, {name}", timed(lambda: ledger.append([("heard", EVENT)]), times))
    handle = (root / "raw").open("wb", buffering=0)
    line = b"x" * 470 + b"\n"

    def raw() -> None:
        handle.write(line)
        Disk().fsync(handle.fileno())

    spread("raw write and fsync of such a line", timed(raw, 2_000))


def machine() -> None:
    block = bytes(1 << 20)
    ms = timed(lambda: hashlib.sha256(block), 200)
    print(f"{'raw SHA-256':44} {200 / (sum(ms) / 1e3):9,.0f} MiB/s")
    secret, message = Secret.fresh(), bytes(470)
    signer, public = secret.signer(), secret.public()
    seal = signer.sign(message)
    spread("raw Ed25519 signature", timed(lambda: signer.sign(message), 5_000))
    spread("raw Ed25519 verification", timed(lambda: holds(public, seal, message), 5_000))


def written(root: Path, entries: int) -> Path:
    folder = root / "long"
    started = time.perf_counter()
    with Ledger.create(folder, {}, state=root / "state") as ledger:
        for _ in range(entries // 100):
            ledger.append([("heard", EVENT)] * 100)
    taken = time.perf_counter() - started
    print(f"{f'write {entries:,} entries, a hundred a batch':44} {entries / taken:9,.0f} /s   {taken:.1f} s")
    return folder


def count(batches: Iterator[tuple[Entry, ...]]) -> list[Difference]:
    """Stands for a replay: reads every entry and finds no difference."""
    assert sum(len(batch) for batch in batches)
    return []


PASSES: dict[str, Callable[[Path, Path], object]] = {
    "verify": lambda folder, _state: verify(folder),
    "verify and replay (reads twice)": lambda folder, _state: verify(folder, replay=count),
    "open": lambda folder, state: Ledger.open(folder, state=state).release(),
}


def in_a_fresh_process(what: str, folder: Path, state: Path, entries: int) -> None:
    command = [sys.executable, __file__, "--pass", what, str(folder), str(state)]
    seconds, grown = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    print(f"{what:44} {entries / float(seconds):9,.0f} /s   {seconds} s, {grown} MiB above the start")


def one_pass(what: str, folder: Path, state: Path) -> None:
    before = highest_memory()
    started = time.perf_counter()
    PASSES[what](folder, state)
    print(f"{time.perf_counter() - started:.2f} {highest_memory() - before:.1f}")


def highest_memory() -> float:
    """MiB: the high-water mark of this process since it was started (Linux)."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    raise SystemExit("this system does not tell a process its memory")


def sounds(root: Path, clips: int = 400) -> None:
    folder, rng = root / "sounds", np.random.default_rng(1)
    with Ledger.create(folder, {}, state=root / "state") as ledger:
        noise = [(rng.normal(size=32_000) * 900).astype(np.int16) for _ in range(clips)]
        spread("keep a clip of 2 s at 16 kHz", timed(lambda: ledger.keep_sound(noise.pop(), 16_000), clips - 1))
        names = [path.stem for path in (folder / "sound").iterdir()]
        ledger.append([("heard", {"sound": name}) for name in names] + [(CLOSED, {})])
    size = sum(path.stat().st_size for path in (folder / "sound").iterdir())
    ms = timed(lambda: verify(folder), 3)
    rate = size / 2**20 / (ms[1] / 1e3)
    print(f"{'verify sound':44} {rate:9,.0f} MiB/s   {len(names)} clips, {size / 2**20:.0f} MiB")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--pass"]:
        one_pass(sys.argv[2], Path(sys.argv[3]), Path(sys.argv[4]))
        sys.exit()
    length = int(sys.argv[1]) if sys.argv[1:] else 100_000
    with tempfile.TemporaryDirectory() as temporary:
        machine()
        appends(Path(temporary))
        sounds(Path(temporary))
        long = written(Path(temporary), length)
        for each in PASSES:
            in_a_fresh_process(each, long, Path(temporary) / "state", length)
