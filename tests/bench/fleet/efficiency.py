"""How work on many visits grows with the workers, and what a million visits cost.

    python -m tests.bench.fleet.efficiency [--visit FOLDER] [--workers 1,2] [--each 8] [--jobs verify,examine]

Prints for each job a table: workers, visits a second, the efficiency (the gain over one worker, by their
number), what share that is of as many processes without a driver ("of bare": each does its own visits one after
another, which is what the machine itself gives), how much of the workers' time was work (the rest is waiting for
the driver, and for the last visit), the processor seconds that a visit takes (median, and the tenth and ninetieth
of a hundred); then what a million visits take by the row of most workers. Where the median grows with the
workers, they share processors, memory or caches: no driver can mend that. The visits are copies of one, as
objects in a folder; without `--visit` the demo is played for it (a minute). What a worker keeps from one visit to
the next (the plan of a procedure and its sheets) is thrown away, as each visit of a fleet has a job sheet of its
own. Workers have started, and have done two visits each, before the clock runs.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from handsfree.fleet.driving import work_through
from handsfree.fleet.jobs import Assignment, JobOutcome, carry_out
from handsfree.fleet.results import ResultsFile
from handsfree.fleet.stored_visits import VisitObjects
from handsfree.fleet.workers import LocalWorkers
from handsfree.objects.folder import ObjectFolder
from handsfree.objects.keeping import keep_visit
from handsfree.visit import folder as visit_folder

WARM_UP = 2
MILLION = 1_000_000
DOLLARS_A_CORE_HOUR = 0.04
"""Assumed, as in the paper on cost; no price was asked for."""


def with_its_own_sheets(assignment: Assignment) -> JobOutcome:
    """Do the job as the first of its procedure and sheets."""
    visit_folder._PLANS.clear()
    return carry_out(assignment)


@dataclass(frozen=True)
class Some:
    """Some of the objects of a store."""

    objects: VisitObjects
    chosen: tuple[str, ...]

    def names(self) -> Iterator[str]:
        yield from self.chosen

    def digest(self, name: str) -> str:
        return self.objects.digest(name)

    def opened(self, name: str, scratch: Path | None) -> AbstractContextManager[Path]:
        return self.objects.opened(name, scratch)


@dataclass(frozen=True)
class Run:
    """One row: so many workers did so many visits in so many seconds; the processor seconds of each."""

    workers: int
    visits: int
    seconds: float
    each: list[float]
    driver: float
    bare: float
    """Visits a second of as many processes without a driver."""

    @property
    def rate(self) -> float:
        return self.visits / self.seconds

    @property
    def busy(self) -> float:
        """The share of the workers' time in which they worked, by the processor time of the visits."""
        return sum(self.each) / (self.workers * self.seconds)


def played(folder: Path) -> Path:
    """Play the demo's visit."""
    command = [
        sys.executable,
        "-c",
        "from handsfree.commands.app import main; main()",
        "demo",
        "--out",
        str(folder),
    ]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return folder


def kept(visit: Path, store: ObjectFolder, count: int, scratch: Path) -> None:
    """Keep so many different copies of a visit; they differ in a file that no check looks at."""
    copy = scratch / "copy"
    shutil.copytree(visit, copy)
    (copy / "set-aside").mkdir(exist_ok=True)
    for number in range(count):
        (copy / "set-aside" / "torn").write_text(f"an unfinished write {number}")
        keep_visit(copy, store)


def one_after_another(given: tuple[str, ObjectFolder, tuple[str, ...], Path]) -> None:
    """Do a job to some visits in this process."""
    job, store, names, scratch = given
    objects = VisitObjects(store)
    for name in names:
        with_its_own_sheets(Assignment(job, objects, name, objects.digest(name), scratch=scratch))


def bare(job: str, workers: int, each: int, store: ObjectFolder, scratch: Path) -> float:
    """Return the visits a second of so many processes that nobody drives; each has done two visits before."""
    names = tuple(store.digests())
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        warm = [(job, store, names[:WARM_UP], scratch)] * workers
        pool.map(one_after_another, warm, chunksize=1)
        parts = [(job, store, names[nth * each : (nth + 1) * each], scratch) for nth in range(workers)]
        begun = time.perf_counter()
        pool.map(one_after_another, parts, chunksize=1)
        return workers * each / (time.perf_counter() - begun)


def run(job: str, workers: int, each: int, store: ObjectFolder, scratch: Path) -> Run:
    objects, names = VisitObjects(store), tuple(store.digests())
    results = scratch / f"{job}-{workers}.jsonl"
    hands = LocalWorkers(workers, with_its_own_sheets)
    try:
        with ResultsFile(scratch / f"{job}-{workers}-warm.jsonl", {"job": job}) as warm:
            work_through(job, Some(objects, names[: WARM_UP * workers]), hands, warm)
        count = each * workers
        with ResultsFile(results, {"job": job}) as found:
            begun, own = time.perf_counter(), time.process_time()
            summary = work_through(job, Some(objects, names[:count]), hands, found)
            seconds, own = time.perf_counter() - begun, time.process_time() - own
    finally:
        hands.close()
    assert len(summary.done) == count, (summary.set_aside, summary.refused)
    assert not summary.broken, summary.broken
    lines = [json.loads(line) for line in results.read_text().splitlines()]
    alone = bare(job, workers, each, store, scratch)
    return Run(workers, count, seconds, [line["cpu_s"] for line in lines], own, alone)


def tell(job: str, runs: list[Run]) -> None:
    print(f"\n{job}")
    print("workers  visits  a second  efficiency  of bare   busy  CPU s a visit: median  10 %  90 %  driver")
    for each in runs:
        median = statistics.median(each.each)
        cuts = statistics.quantiles(each.each, n=10)
        gain = each.rate / each.workers / (runs[0].rate / runs[0].workers)
        print(
            f"{each.workers:7}  {each.visits:6}  {each.rate:8.2f}  {gain:9.0%}  {each.rate / each.bare:7.0%}"
            f"  {each.busy:5.0%}  {median:21.2f}"
            f"  {cuts[0]:.2f}  {cuts[-1]:.2f}  {each.driver / each.visits:.4f}"
        )
    last = runs[-1]
    hours, held = statistics.mean(last.each) * MILLION / 3600, MILLION / last.rate / 3600
    print(f"a million visits: {hours:,.0f} core-hours, or {held:,.0f} h on {last.workers} workers,")
    print(f"  ${hours * DOLLARS_A_CORE_HOUR:,.0f} at an assumed ${DOLLARS_A_CORE_HOUR} a core-hour")
    busy = last.seconds / last.visits * last.workers / (last.driver / last.visits)
    print(f"one driver keeps about {busy:,.0f} workers busy, by its processor time a visit")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--visit", type=Path)
    parser.add_argument("--workers", default="1,2")
    parser.add_argument("--each", type=int, default=8)
    parser.add_argument("--jobs", default="verify,examine")
    given = parser.parse_args()
    counts = [int(each) for each in given.workers.split(",")]
    with tempfile.TemporaryDirectory(prefix="fleet-bench-") as place:
        scratch = Path(place)
        visit = given.visit or played(scratch / "visit")
        entries = len((visit / "ledger.jsonl").read_bytes().splitlines())
        size = sum(file.stat().st_size for file in visit.rglob("*") if file.is_file()) / 1e6
        print(f"one visit: {entries:,} entries, {size:.1f} MB; {os.cpu_count()} processors", flush=True)
        store = ObjectFolder(scratch / "objects")
        store.begin()
        begun = time.process_time()
        kept(visit, store, max(max(given.each, WARM_UP) * each for each in counts), scratch)
        count = max(given.each, WARM_UP) * max(counts)
        print(
            f"kept as objects and read back: {(time.process_time() - begun) / count:.3f} CPU s a visit", flush=True
        )
        for job in given.jobs.split(","):
            tell(job, [run(job, each, given.each, store, scratch) for each in counts])
            sys.stdout.flush()


if __name__ == "__main__":
    main()
