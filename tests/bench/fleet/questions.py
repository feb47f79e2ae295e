"""How the questions grow over invented visits that lie as monthly Parquet, as a store leaves them.

    python -m tests.bench.fleet.questions [--spark N] [--ray N [--visit FOLDER]] [how many ...]

How many is 1000 10000 100000 1000000 when left out. Prints a table: CPU seconds of each question by the number of
visits, once compiled; of the page of all kept answers; the bytes of a visit; and what compiling a question costs
(once a process). With `--spark N` also what Spark takes for each question over N visits, and whether it answers as
DuckDB does; with `--ray N` what verifying N visits takes by local processes and by Ray, two of each
(`.ci/prepare test --all` installs both): copies of the demo's visit, played first, or of `--visit FOLDER`.
A visit has 40 gates, 24 readings, 3 words misheard; every twentieth lies in two folders. Nothing here is of a
real appliance or person.
"""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

import duckdb

from handsfree.desk.asked import AskedOf
from handsfree.desk.questions import QUESTIONS, _sql, kept_answer, told_of
from handsfree.fleet.driving import work_through
from handsfree.fleet.results import ResultsFile
from handsfree.fleet.stored_visits import VisitObjects
from handsfree.fleet.workers import LocalWorkers
from handsfree.objects.folder import ObjectFolder
from handsfree.store.database import DatabaseStore
from handsfree.store.embedded import open_embedded
from handsfree.store.months import LAYOUT, MANIFEST, MonthlyParts
from tests.bench.fleet.efficiency import kept, played

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


class Unmoved(DatabaseStore):
    """A store whose files are those that lie there."""

    def rows_of(self, sql: str) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
        return self._parts.rows_of(sql)


def page_of_kept_answers(folder: Path, parts: MonthlyParts) -> float:
    """Return the CPU seconds of the page once its answers are kept (median of five)."""
    made = open_embedded(folder / "store.sqlite")
    store = Unmoved(made._engine, parts)
    spent = []
    for _ in range(6):
        began = time.process_time()
        for question in QUESTIONS.values():
            kept_answer(store, question, MOST, AskedOf())
        spent.append(time.process_time() - began)
    made.close()
    return statistics.median(spent[1:])


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("counts", nargs="*", type=int, default=[1_000, 10_000, 100_000, 1_000_000])
    parser.add_argument("--spark", type=int, default=0)
    parser.add_argument("--ray", type=int, default=0)
    parser.add_argument("--visit", type=Path)
    given = parser.parse_args()
    if given.visit and not (given.visit / "ledger.jsonl").is_file():
        parser.error(f"--visit {given.visit}: there is no visit; name a folder that holds ledger.jsonl")
    by_count(given.counts)
    if given.spark:
        by_spark(given.spark)
    if given.ray:
        by_ray(given.ray, given.visit)


def by_spark(count: int) -> None:
    """Print what Spark takes over such files, one session for all questions, and whether it answers the same."""
    import ibis  # noqa: PLC0415 - part of the bench alone
    from pyspark.sql import SparkSession  # noqa: PLC0415 - where it is there

    with tempfile.TemporaryDirectory(prefix="questions-") as place:
        made(Path(place), count)
        began = time.perf_counter()
        building = SparkSession.builder.master("local[2]").config("spark.sql.shuffle.partitions", "2")
        for name in ("ui.enabled", "ui.showConsoleProgress", "sql.sources.partitionColumnTypeInference.enabled"):
            building = building.config(f"spark.{name}", "false")
        session = building.config("spark.driver.bindAddress", "127.0.0.1").getOrCreate()
        session.sparkContext.setLogLevel("ERROR")
        print(f"\nSpark started in {time.perf_counter() - began:.1f} s; {count:,} visits, s by the clock")
        for table in BESIDE:
            files = map(str, sorted(Path(place).glob(f"*-{table}.parquet")))
            session.read.parquet(*files).createOrReplaceTempView(table)
        asking, parts = ibis.pyspark.connect(session), MonthlyParts(Path(place))
        for name, question in QUESTIONS.items():
            began = time.perf_counter()
            rows = [tuple(row) for row in session.sql(str(asking.compile(question.ask(AskedOf())))).collect()]
            spent = time.perf_counter() - began
            expected = told_of(question, parts.rows_of(_sql(question, AskedOf(), None))[1])
            same = "the same answer" if told_of(question, rows) == expected else "ANOTHER ANSWER"
            print(f"{name:28} {spent:11.2f}  {same}", flush=True)
        session.stop()


def by_ray(count: int, visit: Path | None) -> None:
    """Print what verifying so many copies of a visit takes by two local processes, and by two of Ray."""
    from handsfree.fleet.ray_workers import HERE, RayWorkers  # noqa: PLC0415 - where it is there

    with tempfile.TemporaryDirectory(prefix="fleet-bench-") as room:
        scratch = Path(room)
        store = ObjectFolder(scratch / "objects")
        store.begin()
        if visit is None:
            print("\nplaying the demo's visit", flush=True)
        kept(visit or played(scratch / "visit"), store, count, scratch)
        print(f"\n{'verify by':12} {'visits':>7} {'s':>8} {'CPU s a visit':>14}", flush=True)
        for name, begun in (("processes", lambda: LocalWorkers(2)), ("Ray", lambda: RayWorkers(HERE, 2))):
            hands = begun()
            try:
                with ResultsFile(scratch / f"{name}.jsonl", {"job": "verify"}) as found:
                    began = time.perf_counter()
                    summary = work_through("verify", VisitObjects(store), hands, found)
                    seconds = time.perf_counter() - began
            finally:
                hands.close()
            lines = [json.loads(line) for line in (scratch / f"{name}.jsonl").read_text().splitlines()]
            spent = statistics.median(line["cpu_s"] for line in lines)
            print(f"{name:12} {len(summary.done):7} {seconds:8.1f} {spent:14.2f}", flush=True)


def by_count(counts: list[int]) -> None:
    """Print how the questions grow."""
    compiled, compiling = {}, []
    for name, question in QUESTIONS.items():
        began = time.process_time()
        compiled[name] = _sql(question, AskedOf(), MOST)
        compiling.append(time.process_time() - began)
    spent: dict[str, list[float]] = {name: [] for name in QUESTIONS}
    sizes, pages = [], []
    for count in counts:
        with tempfile.TemporaryDirectory(prefix="questions-") as place:
            sizes.append(made(Path(place), count) // count)
            parts = MonthlyParts(Path(place))
            parts.rows_of("SELECT 1")
            for name, question in QUESTIONS.items():
                began = time.process_time()
                told_of(question, parts.rows_of(compiled[name])[1], MOST)
                spent[name].append(time.process_time() - began)
            pages.append(page_of_kept_answers(Path(place), parts))
    print("CPU seconds".ljust(28), *(f"{count:>11,}" for count in counts))
    for name, times in spent.items():
        print(name.ljust(28), *(f"{each:11.3f}" for each in times))
    print("page of kept answers".ljust(28), *(f"{each:11.3f}" for each in pages))
    print("bytes a visit".ljust(28), *(f"{size:>11,}" for size in sizes))
    print(f"compiling, once a process: {statistics.median(compiling):.3f} CPU s each, {max(compiling):.3f} most")


if __name__ == "__main__":
    main()
