"""Time and memory of the proofs as procedures grow: python tests/bench/proofs/speed.py [corpus].

Whole procedures are generated: stages that alter and restore things, loops with bounds, readings, verdicts and
stops, all proven, so that nothing ends the search early. With "corpus", 10,000 states (gates x things) are spread
over many small procedures.
"""

import sys
import time
import tracemalloc
from pathlib import Path

from handsfree.documents import parse_document
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check

sys.path.insert(0, str(Path(__file__).parents[2] / "procedure" / "support"))

from generated import text


def timed(gates, things):
    source = text(gates, things)
    procedure = load_procedure(Path("big.yaml"), lambda path: parse_document(source, str(path)))
    began = time.perf_counter()
    report = check(procedure)
    seconds = time.perf_counter() - began
    assert report.proven, [finding.what for finding in report.findings][:3]
    return len(procedure.gates), seconds, procedure


def main(arguments):
    if "corpus" in arguments:
        began, states, files = time.perf_counter(), 0, 0
        while states < 10_000:
            gates, _, _ = timed(23 + 4 * (files % 20), 1 + files % 6)
            states, files = states + gates * 2 ** (1 + files % 6), files + 1
        print(f"{states:,} states in {files} procedures: {time.perf_counter() - began:.1f} s")
        return
    print("gates things   seconds  peak MiB of one more run")
    for gates, things in ((63, 12), (123, 12), (251, 12), (503, 12), (503, 1), (503, 24), (1003, 12)):
        count, seconds, procedure = timed(gates, things)
        tracemalloc.start()
        check(procedure)
        peak = tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
        print(f"{count:5} {things:6} {seconds:9.2f} {peak:9.1f}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
