"""Questions across visits, asked once in a portable form and compiled for the engine at hand.

The questions are ibis expressions over the index's tables. Here they are compiled to SQLite's SQL and run by the
standard library; any engine that ibis knows runs the same expressions.
"""

from __future__ import annotations

import csv
import io
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import ibis
from ibis import _

from handsfree.desk.forms import Across, forms_of, known

VISIT = ibis.table(
    {
        "key": "string", "job": "string", "technician": "string", "appliance": "string", "serial": "string",
        "instrument": "string", "instrument_serial": "string", "day": "string", "outcome": "string",
        "seal": "string", "turns": "float64", "fails": "float64", "minutes": "float64",
        "opened_at": "string", "identity": "string",
    },
    name="visit",
)  # fmt: skip
READING = ibis.table(
    {"key": "string", "rate": "string", "at_time": "string", "quantity": "string", "value": "float64"},
    name="reading",
)
GATE = ibis.table({"key": "string", "gate": "string", "title": "string", "seconds": "float64"}, name="gate")
MISHEARD = ibis.table({"key": "string", "heard": "string", "meant": "string", "why": "string"}, name="misheard")


def _once() -> Any:
    """Return the visits without their copies: of the folders that hold one record, the first by key."""
    first = VISIT.filter(_.identity != "").group_by("identity").aggregate(key=_.key.min())
    return VISIT.semi_join(first, "key")


def right_first_time() -> Any:
    """Return for each technician the visits and the share that finished with nothing on the list failed."""
    right = ((_.outcome == "finished") & (_.fails == 0)).cast("float64")
    return (
        _once()
        .group_by("technician")
        .aggregate(
            visits=_.count(),
            right_percent=(100 * right.mean()).round(1),
            turns_mean=_.turns.mean().round(2),
            minutes_mean=_.minutes.mean().round(1),
        )
        .order_by([_.right_percent, _.technician])
    )


def drift(asked: Across) -> Any:
    """Return, by appliance and measurement point, how far a quantity as found lies from what was left before."""
    read = READING.filter(_.quantity == asked.quantity)
    both = read.group_by(["key", "rate"]).aggregate(
        found=read.value.max(where=read.at_time == "found"), left_at=read.value.max(where=read.at_time == "left")
    )
    dated = both.join(_once(), "key").select("serial", "appliance", "day", "opened_at", "rate", "found", "left_at")
    window = ibis.window(group_by=["serial", "rate"], order_by=["day", "opened_at"])
    with_before = dated.mutate(left_before=_.left_at.lag().over(window), day_before=_.day.lag().over(window))
    return (
        with_before.filter(_.left_before.notnull())
        .mutate(**{asked.column: (_.found - _.left_before).round(2)})
        .select("appliance", "serial", "rate", "day_before", "day", "left_before", "found", asked.column)
        .order_by([_[asked.column].abs().desc(), _.serial, _.rate])
    )


def spread(asked: Across) -> Any:
    """Return for each instrument the mean of a number: one far from the others disagrees with them."""
    joined = READING.filter(_.quantity == asked.quantity).join(_once(), "key")
    mean, least, most = (f"{asked.column}_{which}" for which in ("mean", "least", "most"))
    told = {
        asked.counted: _.count(), mean: _.value.mean().round(3), least: _.value.min().round(3),
        most: _.value.max().round(3),
    }  # fmt: skip
    return (
        joined.group_by(["instrument", "instrument_serial"])
        .aggregate(**told)
        .order_by([_[mean].abs().desc(), _.instrument_serial])
    )


def slow_gates() -> Any:
    """Return the gates with the longest mean stay, seconds."""
    return (
        GATE.semi_join(_once(), "key")
        .group_by(["gate", "title"])
        .aggregate(
            passages=_.count(), seconds_mean=_.seconds.mean().round(1), seconds_most=_.seconds.max().round(1)
        )
        .order_by([_.seconds_mean.desc(), _.gate])
    )


def misheard() -> Any:
    """Return words that were not understood or that became another value, most frequent first."""
    return (
        MISHEARD.semi_join(_once(), "key")
        .group_by(["heard", "meant", "why"])
        .aggregate(times=_.count())
        .order_by([_.times.desc(), _.heard, _.why])
    )


@dataclass(frozen=True)
class Inquiry:
    """A question with its title, how its answer is defined, and the expression that asks it."""

    name: str
    title: str
    means: str
    ask: Callable[[], Any]


_ASKED: dict[str, Callable[[Across], Any]] = {"drift": drift, "spread": spread}


def _of_trades() -> Iterator[Inquiry]:
    """Yield the questions that the trades ask of their own quantities."""
    for trade in known():
        for asked in forms_of(trade).report.across:
            yield Inquiry(asked.name, asked.title, asked.means, partial(_ASKED[asked.kind], asked))


QUESTIONS = {
    question.name: question
    for question in (
        Inquiry(
            "right-first-time", "Right first time",
            "Share of a technician's visits that finished with nothing on the supervisor's list failed.",
            right_first_time,
        ),
        *_of_trades(),
        Inquiry("slow-gates", "Gates that take long", "Seconds from entering a gate to leaving it.", slow_gates),
        Inquiry(
            "misheard", "Words misheard", "What was not understood, and values that were corrected.", misheard
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class QueryResult:
    """Column names and rows."""

    columns: tuple[str, ...]
    rows: list[tuple[Any, ...]]

    def csv(self) -> str:
        """Return the answer as CSV (RFC 4180); a text that a spreadsheet would take for a formula is quoted."""
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow(self.columns)
        writer.writerows([_harmless(cell) for cell in row] for row in self.rows)
        return out.getvalue()


def answer(base: sqlite3.Connection, question: Inquiry, most: int | None = None) -> QueryResult:
    """Ask a question of an index."""
    expression = question.ask()
    if most is not None:
        expression = expression.limit(most)
    found = base.execute(str(ibis.to_sql(expression, dialect="sqlite")))
    return QueryResult(tuple(column[0] for column in found.description), [tuple(row) for row in found.fetchall()])


def _harmless(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"} else cell
