"""An evening of a company: many devices send through links that break, each process is killed once.

Run: python tests/bench/company/sending.py [devices [visits each [drop after bytes]]]; 50 10 60000 when left out.
Prints how many visits were sent, receipted and signed, how often the link broke, how long it took, the CPU seconds
of the company's processes, and whatever was lost or doubled; ends with 1 if anything was.
"""

import os
import resource
import sys
import tempfile
from pathlib import Path

TESTS = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TESTS.parent))
sys.path.insert(0, str(TESTS / "handover" / "support"))
sys.path.insert(0, str(TESTS / "desk" / "support"))
sys.path.insert(0, str(TESTS / "session" / "support"))
sys.path.insert(0, str(TESTS / "ledger" / "support"))
sys.path.insert(0, str(TESTS / "office" / "support"))
sys.path.insert(0, str(TESTS / "company" / "support"))

from evening import hold, lost_or_doubled  # noqa: E402 - its folder is named above


def main() -> int:
    given = [int(one) for one in sys.argv[1:]]
    devices, each, every = (*given, *(50, 10, 60_000)[len(given) :])
    with tempfile.TemporaryDirectory(prefix="handsfree-evening-") as room:
        root = Path(room)
        root.chmod(0o711)  # PostgreSQL runs as a user of its own
        os.environ["XDG_CACHE_HOME"] = str(root / "cache")
        evening = hold(root, devices, each, every=every, longest_s=3600)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        wrong = lost_or_doubled(root, evening)
        print(f"{devices} devices, {evening.visits} visits, a link that breaks every {every} bytes")
        print(
            f"receipted {len(evening.receipts)}, signed {len(evening.signed)}, killed {', '.join(evening.killed)}"
        )
        print(
            f"the link broke {evening.dropped} times; a device gave up and began again {len(evening.faults)} times"
        )
        print(f"{evening.seconds:.0f} s, {evening.visits / evening.seconds:.2f} visits a second")
        print(f"CPU of the company's processes: {used.ru_utime + used.ru_stime:.0f} s")
        print("\n".join(wrong) or "nothing acknowledged was lost, nothing doubled, all heads are in the log")
        return 1 if wrong or len(evening.receipts) != evening.visits else 0


if __name__ == "__main__":
    sys.exit(main())
