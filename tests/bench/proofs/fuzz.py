"""Damages procedure files at random and prints what was told of them: crashes and jargon fail.

    PYTHONPATH=tests/procedure/support python tests/bench/proofs/fuzz.py [COUNT [FIRST SEED]]

Prints how many were refused when read, how many failed a proof, how many passed, and the time for each.
"""

import sys
import time
import traceback
from collections import Counter

from fuzzing import JARGON, fuzzed, sources


def main(count: int = 20_000, first: int = 0) -> int:
    whole, became, began = sources(), Counter[str](), time.process_time()
    for seed in range(first, first + count):
        try:
            _, told = fuzzed(seed, whole)
        except Exception:  # noqa: BLE001 - that is what is looked for
            became["CRASHED"] += 1
            print(f"seed {seed}")
            traceback.print_exc()
            continue
        found = JARGON.search(told)
        if found:
            became["JARGON"] += 1
            print(f"seed {seed}: {told[max(0, found.start() - 100) : found.end() + 100]!r}")
        lines = told.splitlines()
        became["passed" if not lines else "refused" if len(lines) == 1 else "failed a proof"] += 1
    each = (time.process_time() - began) / count
    print(f"{count} files: {dict(became)}; {1000 * each:.0f} ms each")
    return 1 if became["CRASHED"] or became["JARGON"] else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
