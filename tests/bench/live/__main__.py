"""The live bench: `python -m tests.bench.live` prints every figure of the live loop, from one run.

`--parts` chooses among them, `--quick` keeps each short (with half an hour of endurance), `--json FILE` saves
the figures for a machine. The whole run takes an hour and a half, of which
`latency` and `card` are real time.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from handsfree.hearing.model_folder import ModelFolder
from tests.bench.live import card, endpoints, endurance, latency, people_over_voice, stop_over_voice, stray_talk
from tests.bench.live.figures import Figure
from tests.bench.live.scale import MODEL, Scale

PARTS: dict[str, Callable[[Scale], Iterator[Figure]]] = {
    "latency": latency.figures,
    "card": card.figures,
    "endpoints": endpoints.figures,
    "stray_talk": stray_talk.figures,
    "stop_over_voice": stop_over_voice.figures,
    "people_over_voice": people_over_voice.figures,
    "endurance": endurance.figures,
}


def main() -> None:
    """Measure, print, save."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS))
    parser.add_argument("--hours", type=float, help="hours of sound for endurance; 8, or 0.5 with --quick")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", type=Path, help="save the figures here too")
    given = parser.parse_args()
    scale = Scale(given.hours or (0.5 if given.quick else 8), given.quick)
    machine = f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}"
    model = ModelFolder.check(MODEL).identity[:12]
    print(f"model {model}; {machine}; 95 % intervals in brackets")
    saved: dict[str, object] = {"model": model, "machine": machine, "quick": given.quick}
    for name in given.parts:
        begun, load = time.monotonic(), os.getloadavg()[0]
        print(f"\n{name}: {PARTS[name].__module__}", flush=True)
        found = []
        for figure in PARTS[name](scale):
            print(figure.line(), flush=True)
            found.append({"name": figure.name, **figure.value.as_json()})
        took = time.monotonic() - begun
        print(
            f"  ({took:.0f} s; load of the machine {load:.1f} at the start, {os.getloadavg()[0]:.1f} at the end)"
        )
        saved[name] = found
    if given.json:
        given.json.write_text(json.dumps(saved, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
