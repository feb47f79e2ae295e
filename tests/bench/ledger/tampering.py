"""The record and the hand: every bit, every kind of alteration, with and without the device's current key.

    python tests/bench/ledger/tampering.py [bits mutations thefts ...]

bits       every bit of a closed record of 20 entries flipped, one at a time
mutations  10,000 seeded alterations without keys
thefts     10,000 seeded alterations by the holder of the current sealing key

Each must be found, with the first bad entry named and the right class. Exits 1 otherwise.
"""

# ruff: noqa: E402 - the folder with the faulty disk must be on the path first

from __future__ import annotations

import random
import sys
import time
from collections import Counter
from pathlib import Path

SUPPORT = Path(__file__).resolve().parents[2] / "ledger" / "support"
sys.path[:0] = [str(SUPPORT), str(SUPPORT.parents[2])]

from attacks import (
    LEDGER,
    attack,
    flipped_bits,
    lines_of,
    remembered_links,
    stolen_secret,
    thefts,
    undetected,
)
from visits import recorded

SEEDS = 10_000


def bits() -> tuple[int, list[str], Counter[str]]:
    disk = recorded(20)
    data = disk.bytes_of(LEDGER)
    return len(data) * 8, flipped_bits(data, disk, range(len(data) * 8)), Counter()


def mutations() -> tuple[int, list[str], Counter[str]]:
    disk = recorded(20)
    lines, kinds, wrong = lines_of(disk), Counter[str](), []
    for seed in range(SEEDS):
        made = attack(random.Random(seed), lines)
        kinds[made.name] += 1
        wrong += [said] if (said := undetected(made, disk)) else []
    return SEEDS, wrong, kinds


def stolen() -> tuple[int, list[str], Counter[str]]:
    disk = recorded(20, closed=False)
    lines, secret, kinds, wrong = lines_of(disk), stolen_secret(disk), Counter[str](), []
    for seed in range(SEEDS):
        made = thefts(random.Random(seed), lines, secret)
        kinds[made.name] += 1
        wrong += [said] if (said := undetected(made, disk)) else []
    return SEEDS, wrong, kinds


PARTS = {"bits": bits, "mutations": mutations, "thefts": stolen}

if __name__ == "__main__":
    failed = 0
    for name in sys.argv[1:] or PARTS:
        started = time.perf_counter()
        with remembered_links():
            count, wrong, kinds = PARTS[name]()
        failed += len(wrong)
        taken = time.perf_counter() - started
        print(f"{name:10} {count:7,} cases  {len(wrong)} not found or wrongly named  {taken:6.1f} s")
        for kind, number in sorted(kinds.items()):
            print(f"    {kind:28} {number:6,}")
        for line in wrong[:5]:
            print(f"    {line}")
    sys.exit(failed > 0)
