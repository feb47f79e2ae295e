"""The whole demo visit at several noise levels: what was heard right and wrong, time, memory, start-up.

Run: python tests/bench/visit/whole_visit.py [SNR ...]   (20 10 5 dB when left out)
A reading is *silently wrong* when its value stands in the record though nobody said it.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from decimal import Decimal
from pathlib import Path

from handsfree.ledger import read
from handsfree.procedure.languages import english

COMMAND = [sys.executable, "-m", "handsfree.commands.app"]


def silently_wrong(folder: Path, said: list[str]) -> list[str]:
    """Return accepted readings whose digits nobody said."""
    accepted = [e.event for e in read(folder) if e.kind == "reading-accepted" and e.event["how"] != "timed"]
    return [
        f"{a['gate']} {a['reading']['quantity']} {a['reading']['value']}"
        for a in accepted
        if not any(english().numbers.digits(Decimal(a["reading"]["value"])) in words for words in said)
    ]


def play(snr: str, folder: Path) -> None:
    """Play the demo once and print its line."""
    began = time.perf_counter()
    done = subprocess.run(
        [*COMMAND, "demo", "--snr", snr, "--out", str(folder)], capture_output=True, text=True, check=False
    )
    seconds = time.perf_counter() - began
    lines = done.stdout.splitlines()
    said = [line.split("Technician  ", 1)[1] for line in lines if "Technician  " in line]
    summary = next((line for line in lines if line.startswith("Said ")), done.stderr.strip())
    wrong = silently_wrong(folder, said) if (folder / "ledger.jsonl").exists() else ["no record"]
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"{snr:>4} dB  {summary}")
    print(
        f"         silently wrong: {len(wrong)} {wrong or ''}; {seconds:.0f} s; peak memory so far {peak:.0f} MiB"
    )


def start_up(times: int = 5) -> None:
    """Print how long the command takes to start, bare and with the recogniser loaded."""
    code = (
        "import time; t=time.perf_counter();"
        "from handsfree.hearing.recogniser import Recogniser; from handsfree.shipped import model_folder;"
        "Recogniser(model_folder()); print(time.perf_counter()-t)"
    )
    bare, ears = [], []
    for _ in range(times):
        began = time.perf_counter()
        subprocess.run([*COMMAND, "--version"], capture_output=True, check=True)
        bare.append(time.perf_counter() - began)
        told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        ears.append(float(told.stdout))
    print(
        f"start-up: command {statistics.median(bare):.2f} s, recogniser with model {statistics.median(ears):.2f} s"
    )


def main() -> None:
    """Play at each level."""
    levels = sys.argv[1:] or ["20", "10", "5"]
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["HANDSFREE_STATE"] = f"{scratch}/state"
        start_up()
        for snr in levels:
            play(snr, Path(scratch) / f"visit-{snr}")
    print(json.dumps({"levels": levels}))


if __name__ == "__main__":
    main()
