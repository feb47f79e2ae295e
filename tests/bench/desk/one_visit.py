"""What one visit costs the desk: verifying it, examining it, and opening its page from what was kept.

Run: python tests/bench/desk/one_visit.py
Prints CPU seconds of this process; the visit is a whole one of the invented boiler, sounds included. The first
time reads the procedure, the second finds it by its content.
"""

import os
import sys
import tempfile
import time
from pathlib import Path

from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "desk" / "support"))
from invented_visits import record_visit

from handsfree.desk.examination import examine, verified
from handsfree.desk.guard import Door
from handsfree.desk.index import Index, key_of
from handsfree.desk.site import Desk


def cpu(work):
    """CPU seconds of a piece of work, and what it returns."""
    began = time.process_time()
    found = work()
    return time.process_time() - began, found


def main():
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        os.environ["HANDSFREE_STATE"] = str(root / "state")
        visit = record_visit(root / "visits" / "whole")
        for turn in ("first", "second", "third"):
            print(f"verified, {turn} time: {cpu(lambda: verified(visit))[0]:.2f} CPU s")
        spent, examined = cpu(lambda: examine(visit))
        print(f"examined : {spent:.2f} CPU s, {len(examined.view)} bytes kept")
        index = Index(root / "visits", root / "index.sqlite")
        index.scan()
        index.keep(key_of("whole"), examined)
        browser = TestClient(Desk(index, Door()).application(), base_url="http://127.0.0.1:8470")
        for page in ("", "/talk"):
            for turn in ("first", "second", "third"):
                began = time.perf_counter()
                spent, answer = cpu(lambda page=page: browser.get(f"/visit/{key_of('whole')}{page}"))
                took = time.perf_counter() - began
                size = len(answer.content)
                print(f"page{page}, {turn} time: {spent:.2f} CPU s, {took:.2f} s by the clock, {size} bytes")


if __name__ == "__main__":
    main()
