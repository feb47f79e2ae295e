"""Questions across visits, asked once in a portable form and compiled for the engine at hand.

What is asked stands in `asked.py`, how its numbers are told in `told_numbers.py`. The stores answer with DuckDB
over Parquet files; any engine that ibis knows runs the same expressions and gives the same digits.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tempfile
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import duckdb
import ibis

from handsfree.bundles.taken import withdrawals_here
from handsfree.desk import asked
from handsfree.desk import told_numbers as told
from handsfree.desk.asked import AskedOf
from handsfree.desk.forms import forms_of, known
from handsfree.desk.told_numbers import AnswerForm, Sums, Told
from handsfree.store.kept import KeptAnswer
from handsfree.store.port import VisitStore


@dataclass(frozen=True)
class Inquiry:
    """A question: its title, how its answer is defined, what asks it, and which columns lead to its visits.

    `leads` has the answer's columns by the list's filters that they fill.
    """

    name: str
    title: str
    means: str
    ask: Callable[[AskedOf], Any]
    telling: AnswerForm
    leads: Mapping[str, str] = field(default_factory=dict)
    beside: Callable[[], Hashable] = tuple
    """What an answer hangs on beside the visits; a kept one holds while this stays the same."""


_LEADS: dict[str, Mapping[str, str]] = {
    "drift": {"serial": "serial"},
    "spread": {"instrument": "instrument_serial"},
}


def _of_trades() -> Iterator[Inquiry]:
    """Yield the questions that the trades ask of their own quantities."""
    for trade in known():
        for across in forms_of(trade).report.across:
            if across.kind == "drift":
                columns = (
                    "appliance",
                    "serial",
                    "rate",
                    "day_before",
                    "day",
                    "left_before",
                    "found",
                    across.column,
                )
                ask, telling = partial(asked.drift, across), AnswerForm(columns, told.drift)
            else:
                ask, telling = partial(asked.spread, across), told.spread(across)
            yield Inquiry(across.name, across.title, across.means, ask, telling, _LEADS[across.kind])


_RIGHT = "Right: came to its end with nothing on the list failed; the share is of the visits that came to an end, "
_WILSON = "with its 95 % interval (Wilson). A stop is counted by itself and is no failure."
QUESTIONS = {
    question.name: question
    for question in (
        Inquiry(
            "right-first-time", "Right first time", _RIGHT + _WILSON, asked.right_first_time,
            told.went(("technician",)), {"technician": "technician"},
        ),
        Inquiry(
            "trend", "Technicians by month", _RIGHT + _WILSON, asked.trend, told.went(("technician", "month")),
            {"technician": "technician", "month": "month"},
        ),
        Inquiry(
            "stops", "Recurring stops, refusals and steps left out",
            "What stopped the work, which values were not taken, what was left out, and at which step.",
            asked.stops, AnswerForm(("kind", "why", "gate", "visits", "times", "went_on"), told.counts),
            {"stop": "why", "at": "gate"},
        ),
        Inquiry(
            "calibration", "Calibration falling due",
            "The last day on which each instrument is in date, by the job sheets.", asked.calibration,
            AnswerForm(("instrument", "instrument_serial", "in_date_until", "last_used", "visits"), told.counts),
            {"instrument": "instrument_serial"},
        ),
        *_of_trades(),
        Inquiry(
            "slow-gates", "Gates that cost most time", "Hours at a step in all, seconds for each passage.",
            asked.slow_gates,
            AnswerForm(("gate", "title", "passages", "hours", "seconds_mean", "seconds_most"), told.gates),
            {"gate": "gate"},
        ),
        Inquiry(
            "devices", "Devices by month", "How often a device did not understand, for each visit.", asked.devices,
            AnswerForm(("device", "month", "visits", "misheard_mean", "minutes_mean"), told.devices),
            {"device": "device", "month": "month"},
        ),
        Inquiry(
            "versions", "Versions of procedures by device", "Which device ran which version, how often, when.",
            asked.versions, AnswerForm(("device", "procedure", "version", "visits", "first", "last"), told.counts),
            {"device": "device", "procedure": "procedure", "version": "version"},
        ),
        Inquiry(
            "withdrawn", "Led by a version withdrawn since",
            "Visits whose procedure an author has withdrawn, by the list that this machine took: handsfree take.",
            asked.withdrawn,
            AnswerForm(
                ("key", "day", "device", "technician", "procedure", "version", "withdrawn_at", "why"), told.keyed
            ),
            beside=withdrawals_here,
        ),
        Inquiry(
            "misheard", "Words misheard", "What was not understood, and values that were corrected.",
            asked.misheard, AnswerForm(("heard", "meant", "why", "times"), told.counts), {"heard": "heard"},
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class QueryResult:
    """Column names and rows."""

    columns: tuple[str, ...]
    rows: list[Told]

    def csv(self) -> str:
        """Return the answer as CSV (RFC 4180); a text that a spreadsheet would take for a formula is quoted."""
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow(self.columns)
        writer.writerows([_harmless(cell) for cell in row] for row in self.rows)
        return out.getvalue()

    def parquet(self) -> bytes:
        """Return the answer as an Apache Parquet file, a column of numbers or of texts for each; empty is null."""
        kinds = {name: _kind([row[at] for row in self.rows]) for at, name in enumerate(self.columns)}
        with tempfile.TemporaryDirectory() as scratch, duckdb.connect() as base:
            rows, file = Path(scratch, "rows.jsonl"), Path(scratch, "answer.parquet")
            rows.write_text(
                "".join(json.dumps(dict(zip(self.columns, row, strict=True))) + "\n" for row in self.rows), "utf-8"
            )
            base.execute(
                "COPY (SELECT * FROM read_json($rows, columns = $kinds, format = 'newline_delimited')) TO $file "
                "(FORMAT parquet)",
                {"rows": str(rows), "kinds": kinds, "file": str(file)},
            )
            return file.read_bytes()


def _kind(cells: Sequence[Any]) -> str:
    """Return the type that DuckDB gives a column of an answer."""
    told = {type(cell) for cell in cells if cell is not None}
    return "VARCHAR" if str in told or not told else "DOUBLE" if float in told else "BIGINT"


def answer(
    store: VisitStore, question: Inquiry, most: int | None = None, of: AskedOf | None = None
) -> QueryResult:
    """Ask a question of a store, of the visits that its user may see."""
    return told_of(question, store.rows_of(_sql_of(question, _within(store, of), most))[1], most)


def kept_answer(store: VisitStore, question: Inquiry, most: int, of: AskedOf) -> QueryResult:
    """Return the same, from what the store keeps of it while no visit has changed; then it is worked out anew.

    Only what is asked of all visits is kept: there is no end of periods that may be asked of.
    """
    if of != AskedOf():
        return answer(store, question, most, of)
    beside = hashlib.sha256(repr(question.beside()).encode()).hexdigest()
    named = json.dumps([question.name, most, _within(store, of).within, beside])
    _, revision = store.state()
    kept = store.answer(named)
    if kept is not None and kept.revision == revision:
        return QueryResult(question.telling.columns, [tuple(row) for row in json.loads(kept.body)])
    found = answer(store, question, most, of)
    made_at = datetime.now(UTC).isoformat(timespec="seconds")
    store.keep_answer(named, KeptAnswer(revision, made_at, json.dumps(found.rows).encode()))
    return found


def told_of(question: Inquiry, rows: Iterable[Sums], most: int | None = None) -> QueryResult:
    """Return the answer that an engine's rows tell, whichever engine it was."""
    found = [question.telling.tell(row) for row in rows]
    if question.telling.order:
        found.sort(key=question.telling.order)
    return QueryResult(question.telling.columns, found[:most])


def _within(store: VisitStore, of: AskedOf | None) -> AskedOf:
    return replace(of or AskedOf(), within=None if store.offices is None else tuple(sorted(store.offices)))


def _sql_of(question: Inquiry, of: AskedOf, most: int | None) -> str:
    return _compiled(question.name, of, most, question.beside())


@lru_cache(maxsize=256)
def _compiled(name: str, of: AskedOf, most: int | None, beside: Hashable) -> str:  # noqa: ARG001 - for the cache
    """Return a question in DuckDB's SQL; compiling one costs more than asking it of a thousand visits."""
    return _sql(QUESTIONS[name], of, most)


def _sql(question: Inquiry, of: AskedOf, most: int | None) -> str:
    expression = question.ask(of)
    if most is not None and question.telling.order is None:
        expression = expression.limit(most)
    return str(ibis.to_sql(expression, dialect="duckdb"))


def _harmless(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"} else cell
