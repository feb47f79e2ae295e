"""Would the tests notice? What decides is altered in one place at a time, and the tests are run on it.

    python -m tests.bench.mutation [--parts fusion,decide] [--sample N [--seed S]] [--jobs 2] [--seconds 20]

The parts, their files and their tests stand in `targets.py`, the ways of altering in `operators.py`, and the
mutants that may survive, each with its reason, in `accepted.toml`. Prints each survivor with its file, line and
change, then how many were made, killed and left for each file. `--seconds` is the processor time that the tests
of one mutant may take, measured on the code as it is; more kills more. Fails when a survivor has no reason, or
more than 3 % survive. Needs the extra `mutation`.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import time
from collections import Counter
from pathlib import Path

from tests.bench.mutation.accepted import accepted, stale
from tests.bench.mutation.mutants import Mutant, mutants_of
from tests.bench.mutation.targets import TARGETS
from tests.bench.mutation.trial import run

MOST_SURVIVING = 0.03


class Count:
    """What became of the mutants so far."""

    def __init__(self, into: Path | None, total: int) -> None:
        self.made: Counter[str] = Counter()
        self.left: Counter[str] = Counter()
        self.without_reason: Counter[str] = Counter()
        self._accepted = accepted()
        self._into, self._total = into, total

    def tell(self, mutant: Mutant, noticed: str) -> None:
        self.made[mutant.part] += 1
        if not noticed:
            self.left[mutant.part] += 1
            reasons = [one for one in self._accepted if one.covers(mutant)]
            self.without_reason[mutant.part] += not reasons
            before, after = mutant.change()
            print(f"survived: {mutant.target.source}:{mutant.line} {mutant.operator}", flush=True)
            print(
                "".join(f"    - {line}\n" for line in before) + "".join(f"    + {line}\n" for line in after),
                end="",
            )
            print(f"    because {reasons[0].reason}" if reasons else "    WITHOUT A REASON", flush=True)
        if self._into is not None:
            with self._into.open("a", encoding="utf-8") as stream:
                print(json.dumps({"key": key_of(mutant), "line": mutant.line, "noticed": noticed}), file=stream)
        print(f"{sum(self.made.values())} of {self._total}", end="\r", file=sys.stderr, flush=True)

    def table(self) -> None:
        print(f"\n{'file':44}{'made':>7}{'killed':>8}{'survived':>10}{'with reason':>13}{'score':>9}")
        for part in self.made:
            self._row(TARGETS[part].source, self.made[part], self.left[part], self.without_reason[part])
        for one in stale(self._accepted):
            print(f"no such line any more, so its reason is void: {one.source}: {one.line}")
        self._row("all", *(sum(counter.values()) for counter in (self.made, self.left, self.without_reason)))

    def _row(self, name: str, made: int, left: int, bare: int) -> None:
        print(f"{name:44}{made:7}{made - left:8}{left:10}{left - bare:13}{100 * (1 - left / made):8.1f} %")

    @property
    def good(self) -> bool:
        few = sum(self.left.values()) <= MOST_SURVIVING * sum(self.made.values())
        return few and not sum(self.without_reason.values())


def key_of(mutant: Mutant) -> list[object]:
    """Return what names a mutant while lines move: its file, its operator and the lines before and after."""
    return [mutant.target.source, mutant.operator, *mutant.change()]


def survivors_of(file: Path) -> list[list[object]]:
    """Return the keys of the mutants that survived an earlier run."""
    lines = [json.loads(line) for line in file.read_text("utf-8").splitlines()]
    return [line["key"] for line in lines if not line["noticed"]]


def main() -> int:
    """Make, sample, try and count."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", default=",".join(TARGETS), help="which files, by the names in targets.py")
    parser.add_argument(
        "--sample", type=int, help="try so many, drawn at random over all parts; all when left out"
    )
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    parser.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1))
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--json", type=Path, help="also append a line for each mutant to this file")
    parser.add_argument("--again", type=Path, help="only those that survived by such a file of an earlier run")
    given = parser.parse_args()
    parts = given.parts.split(",")
    if unknown := [part for part in parts if part not in TARGETS]:
        parser.error(f"there is no part '{unknown[0]}'; the parts are {', '.join(TARGETS)}")
    every = [mutant for part in parts for mutant in mutants_of(part)]
    if given.again is not None:
        left = survivors_of(given.again)
        every = [mutant for mutant in every if key_of(mutant) in left]
    chosen = every
    if given.sample is not None and given.sample < len(every):
        chosen = sorted(random.Random(given.seed).sample(every, given.sample), key=every.index)
    print(f"{len(every)} mutants can be made, {len(chosen)} are tried", flush=True)
    began, count = time.monotonic(), Count(given.json, len(chosen))
    failed = run(parts, chosen, count.tell, most_seconds=given.seconds, jobs=given.jobs)
    if failed or not count.made:
        print("the tests fail on the code as it is: " + ", ".join(failed[:5]))
        return 1
    count.table()
    print(f"{time.monotonic() - began:.0f} s")
    return 0 if count.good else 1


if __name__ == "__main__":
    raise SystemExit(main())
