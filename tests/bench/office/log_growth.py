"""What adding one visit to the office's log costs as the log grows, and what reading the whole of it does.

Run: python -m tests.bench.office.log_growth [leaves …]; 1000 10000 100000 1000000 when left out.
Prints for each size: bytes of the log and of what lies beside it, milliseconds of CPU of one append (median of 20,
each of one leaf), of finding the line of an older checkpoint, and CPU seconds and memory of a whole check.
"""

import resource
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.ledger.entry import canonical
from handsfree.office.absences import findings
from handsfree.office.kept_key import KeptKey
from handsfree.office.log import Checkpoint, SpentUse, append, checked_leaves, line_signed_at, newest_checkpoint
from handsfree.office.log_tree import LoggedLine, LogTree

KEY = KeptKey(Ed25519PrivateKey.from_private_bytes(bytes(32)))
AT = "2026-11-01T10:00:00.000Z"


def leaf(number: int) -> LoggedLine:
    digest = f"{number:064x}"
    members = {
        "at": AT, "closed_at": AT, "count": 2_000, "device": f"{number % 50:064x}", "digest": digest,
        "kind": "visit", "opened_at": AT, "tree": digest, "use": number // 50, "visit": digest,
    }  # fmt: skip
    return LoggedLine(canonical(members), f"visit {digest} {digest}")


def cpu(work) -> float:
    before = time.process_time()
    work()
    return time.process_time() - before


def begun(folder: Path, size: int) -> str:
    """Write a log of so many leaves and return its checkpoint."""
    with (folder / "log.jsonl").open("wb") as stream, LogTree(folder) as tree:
        for start in range(0, size, 50_000):
            lines = [leaf(number) for number in range(start, min(size, start + 50_000))]
            stream.writelines(each.line + b"\n" for each in lines)
            tree.add(lines)
        root = tree.root(size)
    (folder / "checkpoint").write_text(Checkpoint(size, root).signed(KEY))
    return newest_checkpoint(folder)


def row(folder: Path, size: int) -> str:
    """Measure a log of so many leaves."""
    older = begun(folder, size)
    spent = [SpentUse("f" * 64, number, f"{number:064x}") for number in range(20)]
    each = median(cpu(lambda one=one: append(folder, [], KEY, spent=[one])) for one in spent)
    looked = cpu(lambda: line_signed_at(folder, KEY.public, older))
    checked = cpu(lambda: findings(checked_leaves(folder, KEY.public, older)))
    log, beside = (
        sum(path.stat().st_size for path in folder.glob(name)) / 1e6 for name in ("*.jsonl", "*.sqlite*")
    )
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    told = f"{log:9.1f} {beside:10.1f} {each * 1e3:10.1f} {looked * 1e3:9.1f} {checked:12.2f} {most:15.0f}"
    return f"{size:9,} {told}"


def main() -> None:
    print("leaves      log MB  beside MB  append ms  older ms  check CPU s  most memory MB")
    for size in [int(one) for one in sys.argv[1:]] or [1_000, 10_000, 100_000, 1_000_000]:
        with tempfile.TemporaryDirectory(prefix="handsfree-log-") as room:
            print(row(Path(room), size), flush=True)


if __name__ == "__main__":
    main()
