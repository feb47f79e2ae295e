"""Alters folders, lists, proofs, checkpoints and requests at random and prints what became of how many.

    python tests/bench/office/mutations.py [COUNT [FIRST-SEED]]     # 50,000 from seed 1,000 without

Ends with the seed of the first that gave a traceback, an answer of 500, or a record that passes though altered.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

for folder in ("office", "ledger", "desk"):
    sys.path.insert(0, str(Path(__file__).resolve().parents[2] / folder / "support"))

from mutated import Mutations, tally  # noqa: E402


def main() -> None:
    given = [int(each) for each in sys.argv[1:]]
    count, first = (*given, *(50_000, 1_000)[len(given) :])
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        os.environ["HANDSFREE_STATE"] = str(root / "state")
        os.environ["XDG_CACHE_HOME"] = str(root / "cache")
        began = time.process_time()
        found = tally(Mutations(root, root / "state"), range(first, first + count))
    print(f"{count} alterations in {time.process_time() - began:.0f} CPU s")
    for what, number in sorted(found.items()):
        print(f"{number:8} {what}")


if __name__ == "__main__":
    main()
