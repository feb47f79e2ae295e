"""Damages procedure files at random and prints what was told of them: crashes and jargon fail.

What can still be read is also compared with the whole file, and drawn.

    PYTHONPATH=tests/procedure/support python tests/bench/proofs/fuzz.py [COUNT [FIRST SEED]]

Prints how many were refused when read, how many failed a proof, how many passed, and the time for each.
"""

import sys
import time
import traceback
from collections import Counter

from fuzzing import fuzzed, jargon, shown_of, sources


def main(count: int = 20_000, first: int = 0) -> int:
    whole, became, began = sources(), Counter[str](), time.process_time()
    for seed in range(first, first + count):
        try:
            files, told = fuzzed(seed, whole)
            shown = shown_of(whole, files)
        except Exception:  # noqa: BLE001 - that is what is looked for
            became["CRASHED"] += 1
            print(f"seed {seed}")
            traceback.print_exc()
            continue
        found = jargon(f"{told}\n{shown}", files)
        if found:
            became["JARGON"] += 1
            print(f"seed {seed}: {found!r}")
        became["refused" if told and not shown else "failed a proof" if ".yaml:" in told else "passed"] += 1
    each = (time.process_time() - began) / count
    print(f"{count} files: {dict(became)}; {1000 * each:.0f} ms each")
    return 1 if became["CRASHED"] or became["JARGON"] else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
