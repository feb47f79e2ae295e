"""How fast the desk is over ten thousand visits: reading the folders, and serving pages over HTTP.

Run: python tests/bench/desk/ten_thousand.py [how many]
The visits are invented: two entries of a real record each, with other jobs, days and names, so the list, its
filters and its index are exercised in full; their seals are not checked here (see `one visit examined`).
"""

import json
import shutil
import statistics
import sys
import tempfile
import threading
import time
import urllib.request
from datetime import date, timedelta
from pathlib import Path

import uvicorn

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "desk" / "support"))
from invented_visits import record_visit

from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.site import Desk

PORT = 8479


def folders(root, whole, count):
    first, *_, last = (whole / "ledger.jsonl").read_text().splitlines()
    opened = json.loads(first)
    for number in range(count):
        event = opened["event"] | {
            "job": f"job-{number:05}",
            "technician": f"Technician {number % 40}",
            "serial": f"LM24A{number % 3000:04}",
            "day": (date(2024, 1, 1) + timedelta(days=number % 900)).isoformat(),
        }
        folder = root / f"{number // 100:03}" / f"visit-{number:05}"
        folder.mkdir(parents=True)
        (folder / "ledger.jsonl").write_text(json.dumps(opened | {"event": event}) + "\n" + last + "\n")


def seconds(work):
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        whole = record_visit(root / "one" / "whole")
        print(f"one visit examined (verified, decided again, judged): {seconds(lambda: examine(whole)):.2f} s")
        folders(root / "many", whole, count)
        index = Index(root / "many", root / "index.sqlite")
        print(f"{count} folders read into an empty index: {seconds(index.scan):.2f} s")
        print(f"looked through again, nothing new: {seconds(index.scan):.2f} s")
        server = uvicorn.Server(uvicorn.Config(Desk(index, Door()).application(), port=PORT, log_level="error"))
        threading.Thread(target=server.run, daemon=True).start()
        while not server.started:
            time.sleep(0.02)

        def get(path):
            return seconds(lambda: urllib.request.urlopen(f"http://127.0.0.1:{PORT}{path}").read())

        for title, path in (
            ("first page", "/"),
            ("last page", f"/?page={count // 50}"),
            ("search", "/?words=LM24A29+orchard"),
            ("one technician, by appliance", "/?technician=Technician+7&sort=appliance"),
        ):
            first = get(path)
            rest = sorted(get(path) for _ in range(40))
            middle, slowest = statistics.median(rest), rest[-1]
            print(f"{title}: first {first:.3f} s, then median {middle:.3f} s, slowest of 40 {slowest:.3f} s")
        server.should_exit = True
        time.sleep(0.3)
        shutil.rmtree(root / "many")


if __name__ == "__main__":
    main()
