"""Work on visits that goes wrong where a visit says so, and a driver that a test kills."""

import json
import os
import sys
import threading
import time
from pathlib import Path

from handsfree.fleet.driving import work_through
from handsfree.fleet.jobs import JobOutcome
from handsfree.fleet.results import ResultsFile
from handsfree.fleet.stored_visits import source_of
from handsfree.fleet.workers import LocalWorkers


def odd(assignment):
    """Look at a visit, unless the file `odd` beside its record says otherwise."""
    with assignment.source.opened(assignment.name, assignment.scratch) as folder:
        told = folder / "odd"
        how = told.read_text() if told.exists() else ""
    if how == "hang":
        threading.Event().wait()
    if how == "die":
        os._exit(7)
    if how == "hog":
        return bytearray(64 << 30)
    if how.isdecimal():
        time.sleep(int(how))
    return JobOutcome("closed", "enrolled", "it was looked at", {})


def counted(assignment):
    """Take a moment, and note the start of it."""
    with Path(os.environ["STARTS"]).open("a") as log:
        log.write(f"{assignment.digest}\n")
    time.sleep(0.15)
    return JobOutcome("closed", "enrolled", "it was looked at", {})


def main():
    """Work through a store with two workers, on this machine or by Ray.

    Imported to be called: a function of the main module is none that a worker finds.
    """
    by, store, results = sys.argv[1:]
    if by == "ray":
        from handsfree.fleet.ray_workers import HERE, RayWorkers  # noqa: PLC0415 - where it is there

        workers = RayWorkers(HERE, 2, odd, longest_s=8.0)
    else:
        workers = LocalWorkers(2, counted)
    with ResultsFile(Path(results), {"job": "verify"}) as kept:
        summary = work_through("verify", source_of(store), workers, kept)
    workers.close()
    print(json.dumps({"done": len(summary.done), "before": summary.done_before, "set aside": summary.set_aside}))
