"""What the technician's screen costs: `python tests/bench/glance/cost.py`.

Prints, of a real visit in a pseudo-terminal of 80 by 24: share of one core, bytes a second and memory with plain
lines, with the screen, and with the page besides; the time from a key to the screen; and the time from the third
press of the stop key to the stopped screen, whose stop is then on the disk.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT / "tests" / "glance" / "support"))

import pexpect  # noqa: E402
from seen import Seen  # noqa: E402

from tests.programs import keyed_visit  # noqa: E402

IDLE_S, KEYS, STOPS = 10.0, 60, 5


def main() -> None:
    """Print all of it."""
    with tempfile.TemporaryDirectory() as work:
        os.environ["HANDSFREE_STATE"] = f"{work}/state"
        for number, options in enumerate((["--plain"], [], ["--glance-web", "127.0.0.1:0"])):
            cost(Path(work) / f"visit-{number}", options)
        latency("a key to the screen", keys(Path(work) / "keys"))
        latency("the third press to STOPPED", [stop(Path(work) / f"stop-{number}") for number in range(STOPS)])


def start(folder: Path, *options: str) -> Seen:
    procedure, sheet = (
        ROOT / "procedures" / "two-rate-combustion.yaml",
        ROOT / "handsfree" / "demo" / "jobsheet.yaml",
    )
    seen = Seen(keyed_visit(procedure, sheet, folder, *options))
    seen.follow(6)
    return seen


def cost(folder: Path, options: list[str]) -> None:
    seen = start(folder, *options)
    if "--glance-web" in options:
        seen.press("enter")
    used, sent, began = processor_s(seen), len(seen.sent), time.monotonic()
    seen.follow(IDLE_S)
    seconds = time.monotonic() - began
    share, rate = 100 * (processor_s(seen) - used) / seconds, (len(seen.sent) - sent) / seconds
    print(
        f"{' '.join(options) or 'screen':28} {share:4.1f} % of a core  {rate:6.0f} bytes/s  {memory_mib(seen)} MiB"
    )
    seen.child.close(force=True)


def keys(folder: Path) -> list[float]:
    seen, found = start(folder), []
    for _ in range(KEYS):
        found.append(until_changed(seen, "\x1b[B"))
        time.sleep(0.1)
    seen.child.close(force=True)
    return found


def stop(folder: Path) -> float:
    seen = start(folder)
    seen.press("right", "right")
    began = time.perf_counter()
    seen.child.send("\x1b[C")
    while "called by the person" not in seen.text():
        read(seen)
    taken = 1000 * (time.perf_counter() - began)
    seen.child.close(force=True)
    return taken


def until_changed(seen: Seen, sent: str) -> float:
    before, began = seen.text(), time.perf_counter()
    seen.child.send(sent)
    while seen.text() == before and time.perf_counter() - began < 2:
        read(seen)
    return 1000 * (time.perf_counter() - began)


def read(seen: Seen) -> None:
    try:
        seen._stream.feed(seen.child.read_nonblocking(65536, timeout=0.005))
    except pexpect.TIMEOUT:
        return


def latency(what: str, found: list[float]) -> None:
    found.sort()
    middle, late = found[len(found) // 2], found[int(0.95 * (len(found) - 1))]
    print(
        f"{what:28} median {middle:.0f} ms, 95 % within {late:.0f} ms, longest {found[-1]:.0f} ms ({len(found)})"
    )


def processor_s(seen: Seen) -> float:
    fields = Path(f"/proc/{seen.child.pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mib(seen: Seen) -> int:
    lines = Path(f"/proc/{seen.child.pid}/status").read_text("ascii").splitlines()
    return int(next(line for line in lines if line.startswith("VmRSS")).split()[1]) // 1024


if __name__ == "__main__":
    main()
