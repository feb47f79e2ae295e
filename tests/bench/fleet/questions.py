"""How the questions grow over invented visits that lie as monthly Parquet, as a store leaves them.

    python -m tests.bench.fleet.questions [how many ...]        # 1000 10000 100000 1000000 when left out

Prints a table: CPU seconds of each question by the number of visits, once compiled; then what compiling one costs
(once a process) and the bytes of a visit. A visit has 40 gates, 24 readings, 3 words misheard; every twentieth
lies in two folders. Nothing here is of a real appliance or person.
"""

from __future__ import annotations

import json
import statistics
import sys
import tempfile
import time
from pathlib import Path

import duckdb

from handsfree.desk.asked import AskedOf
from handsfree.desk.questions import QUESTIONS, _sql, told_of
from handsfree.store.months import LAYOUT, MANIFEST, MonthlyParts

MOST = 25
"""Rows that a page shows of an answer."""
MEMORY = "4GB"
VISITS = """
CREATE TABLE visit AS SELECT printf('%016d', i) AS key, (i - (i % 20 = 19)::INT)::VARCHAR AS identity,
    'closed' AS seal, 'Technician ' || (i % greatest({count} // 200, 40)) AS technician, 'L24' AS appliance,
    'S' || (i % ({count} // 4 + 1)) AS serial, 'analyser' AS instrument,
    'F' || (i % greatest({count} // 200, 60)) AS instrument_serial,
    strftime(DATE '2024-01-01' + (i * 360 // {count})::INT, '%Y-%m-%d') AS day, i::VARCHAR AS opened_at,
    CASE WHEN random() < 0.9 THEN 'finished' WHEN random() < 0.7 THEN 'made-safe' ELSE 'incomplete' END AS outcome,
    'two-rate' AS procedure, 'v' || (i % 3) AS version, 'office ' || (i % 4) AS office,
    '2027-01-01' AS calibrated_until, printf('%064d', i % greatest({count} // 200, 50)) AS device,
    (random() * 6)::BIGINT AS turns, (random() < 0.1)::BIGINT AS fails,
    (200 + random() * 700)::BIGINT AS minute_tenths FROM range({count}) r(i)
"""
BESIDE = {
    "visit": "SELECT * FROM visit WHERE day LIKE '{month}%'",
    "reading": """SELECT key, rate, at_time, quantity, (90000 + random() * 4000)::BIGINT AS parts FROM here,
        (VALUES ('maximum'), ('minimum')) a(rate), (VALUES ('found'), ('left')) w(at_time),
        (VALUES ('co2'), ('o2'), ('pair_residual'), ('air_flow'), ('subcooling'), ('outlet_temperature'))
        q(quantity)""",
    "gate": """SELECT key, 'gate-' || g AS gate, 'Gate ' || g AS title,
        (50 + random() * 850)::BIGINT AS second_tenths FROM here, range(40) x(g)""",
    "misheard": """SELECT key, 'word ' || (random() * 80)::INT AS heard, '' AS meant, 'unknown' AS why
        FROM here, range(3) x(g)""",
    "stop": """SELECT key, 'stopped' AS kind, 'called' AS why, 'G' AS gate, '' AS resumed FROM here
        WHERE outcome <> 'finished'""",
}
"""The tables that questions read, of one month."""


def made(folder: Path, count: int) -> int:
    """Write the files of so many visits, one part a month; return their bytes."""
    parts = []
    with duckdb.connect() as base:
        base.execute(f"SET memory_limit = '{MEMORY}'; SET temp_directory = '{folder}/spilled'")
        base.execute("SELECT setseed(0.5)")
        base.execute(VISITS.format(count=count))
        for number in range(1, 13):
            month = f"2024-{number:02}"
            held = base.execute(f"SELECT count(*) FROM visit WHERE day LIKE '{month}%'").fetchone()[0]
            if not held:
                continue
            base.execute(f"CREATE OR REPLACE VIEW here AS SELECT * FROM visit WHERE day LIKE '{month}%'")
            name = f"{month}-{number:06}"
            for table, rows in BESIDE.items():
                file = folder / f"{name}-{table}.parquet"
                query = rows.format(month=month)
                base.execute(f"COPY ({query}) TO '{file}' (FORMAT parquet, COMPRESSION zstd)")
            parts.append({"name": name, "month": month, "visits": held})
    told = {"layout": LAYOUT, "mark": "bench", "until": 1, "number": 12, "parts": parts, "dead": {}}
    (folder / MANIFEST).write_text(json.dumps(told))
    return sum(file.stat().st_size for file in folder.glob("*.parquet"))


def main() -> None:
    counts = [int(each) for each in sys.argv[1:]] or [1_000, 10_000, 100_000, 1_000_000]
    compiled, compiling = {}, []
    for name, question in QUESTIONS.items():
        began = time.process_time()
        compiled[name] = _sql(question, AskedOf(), MOST)
        compiling.append(time.process_time() - began)
    spent: dict[str, list[float]] = {name: [] for name in QUESTIONS}
    sizes = []
    for count in counts:
        with tempfile.TemporaryDirectory(prefix="questions-") as place:
            sizes.append(made(Path(place), count) // count)
            parts = MonthlyParts(Path(place))
            parts.rows_of("SELECT 1")
            for name, question in QUESTIONS.items():
                began = time.process_time()
                told_of(question, parts.rows_of(compiled[name])[1], MOST)
                spent[name].append(time.process_time() - began)
    print("CPU seconds".ljust(28), *(f"{count:>11,}" for count in counts))
    for name, times in spent.items():
        print(name.ljust(28), *(f"{each:11.3f}" for each in times))
    print("bytes a visit".ljust(28), *(f"{size:>11,}" for size in sizes))
    print(f"compiling, once a process: {statistics.median(compiling):.3f} CPU s each, {max(compiling):.3f} most")


if __name__ == "__main__":
    main()
