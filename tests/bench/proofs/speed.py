"""Time and memory of the proofs as procedures grow: python tests/bench/proofs/speed.py [corpus].

Whole procedures are generated: stages that alter and restore things, loops with bounds, readings, verdicts and
stops, all proven, so that nothing ends the search early. With "corpus", 10,000 states (gates x things) are spread
over many small procedures.
"""

import sys
import time
import tracemalloc
from pathlib import Path

from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.yaml_reader import parse_document

HEAD = """\
handsfree: 1
procedure: big
title: Generated
purpose: To be timed.
things:
"""
STAGE = """\
  - {{id: s{n}-alter, kind: confirm, title: Alter it, source: generated, prompt: Alter it., done: [maximum held],
     alters: [t{t}], not_done: false}}
  - {{id: s{n}-read, kind: readings, title: Read it, source: generated, needs: {{t{t}: raised}},
     prompt: "Water pressure?", ask: [{{quantity: water_pressure}}], at: w{n}, at_most: 3, exhausted: stop}}
  - {{id: s{n}-ask, kind: choice, title: Ask it, source: generated, prompt: "Good, low or broken?", not_done: stop,
     answers: {{good: {{heard: [in order], then: s{n}-back}}, low: {{heard: [too low], then: s{n}-read}},
               broken: {{heard: [faulty], then: stop}}}}}}
  - {{id: s{n}-back, kind: {back}
"""
END = """\
  - {id: put-back, kind: restore, title: Put back, source: generated, things: [%s]}
  - {id: finish, kind: finish, title: Finish, source: generated}
  - {id: stop, kind: stop, title: Stop it, source: generated, script: Leave it off.}
"""


def text(gates, things):
    names = [f"t{i}" for i in range(things)]
    parts = [HEAD]
    parts += [f"  {name}: {{said: Thing {name}, altered: raised, restored: fitted}}\n" for name in names]
    parts.append("gates:\n")
    stages = (gates - 3) // 4
    for n in range(stages):
        restored = f"restore, title: Put it back, source: generated, things: [t{n % things}]}}"
        left = "confirm, title: Look again, source: generated, prompt: Look again., done: [all clean]}"
        parts.append(STAGE.format(n=n, t=n % things, back=restored if n % 3 else left))
    return "".join(parts) + END % ", ".join(names)


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
