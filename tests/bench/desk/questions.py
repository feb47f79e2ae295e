"""How the questions across visits grow: CPU seconds of each over 500, 1,000 and 10,000 invented visits.

Run: python tests/bench/desk/questions.py [how many ...]
The visits are rows of an index as an examination leaves them: a dozen readings, forty gates, a few mishearings and
stops each; every twentieth lies in two folders.
"""

import random
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from handsfree.desk.index import Index
from handsfree.desk.questions import QUESTIONS, answer
from handsfree.store.kept import Examined, NotedVisit

TAKEN = "visits taken over"
"""From the catalogue into the files that questions read: once for each visit."""


def fill(index, count):
    dice = random.Random(count)
    visits, beside = [], {"reading": [], "gate": [], "misheard": [], "stop": []}
    for number in range(count):
        key, ended = f"{number:06}", dice.random()
        visits.append({
            "key": key, "seal": "closed", "identity": f"{number - (number % 20 == 19)}",
            "technician": f"Technician {number % 40}", "serial": f"S{number % (count // 4 + 1)}",
            "appliance": "L24",
            "instrument": "analyser", "instrument_serial": f"F{number % 60}", "device": f"{number % 50:064}",
            "day": (date(2024, 1, 1) + timedelta(days=number * 900 // count)).isoformat(),
            "outcome": "finished" if ended < 0.9 else "made-safe" if ended < 0.97 else "incomplete",
            "fails": float(dice.random() < 0.1), "minutes": 60.0, "turns": 2.0, "calibrated_until": "2027-01-01",
            "procedure": "two-rate-combustion", "version": f"v{number % 3}", "office": f"office {number % 4}",
        })  # fmt: skip
        for rate in ("maximum", "minimum"):
            for when in ("found", "left"):
                for quantity in ("co2", "o2", "pair_residual"):
                    value = round(dice.gauss(9.2, 0.2), 2)
                    beside["reading"].append(
                        {"key": key, "rate": rate, "at_time": when, "quantity": quantity, "value": value}
                    )
        beside["gate"] += [
            {"key": key, "gate": f"gate-{gate}", "title": f"Gate {gate}", "seconds": dice.uniform(5, 90)}
            for gate in range(40)
        ]
        beside["misheard"] += [
            {"key": key, "heard": f"word {dice.randrange(80)}", "meant": "", "why": "unknown"}
        ] * 3
        if ended >= 0.9:
            beside["stop"].append({"key": key, "kind": "stopped", "why": "called", "gate": "G", "resumed": ""})
    index.store.note([NotedVisit(row["key"], row["key"], "", {}) for row in visits])
    rows_of = {}
    for table, rows in beside.items():
        for row in rows:
            rows_of.setdefault(row["key"], {}).setdefault(table, []).append(row)
    for row in visits:
        index.keep(row["key"], Examined(row, rows_of[row["key"]]))


def main():
    counts = [int(each) for each in sys.argv[1:]] or [500, 1_000, 10_000]
    print("question".ljust(28), *(f"{count:>10}" for count in counts))
    spent = {name: [] for name in (TAKEN, *QUESTIONS)}
    for count in counts:
        with tempfile.TemporaryDirectory() as name:
            index = Index(Path(name), Path(name) / "index.sqlite")
            fill(index, count)
            began = time.process_time()
            index.store.rows_of("SELECT 1")
            spent[TAKEN].append(time.process_time() - began)
            for question in QUESTIONS.values():
                began = time.process_time()
                answer(index.store, question)
                spent[question.name].append(time.process_time() - began)
    for name, times in spent.items():
        print(name.ljust(28), *(f"{each:10.3f}" for each in times))
    print("all".ljust(28), *(f"{sum(times):10.3f}" for times in zip(*spent.values(), strict=True)))


if __name__ == "__main__":
    main()
