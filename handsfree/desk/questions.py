"""Questions across visits, asked once in a portable form and compiled for the engine at hand.

The questions are ibis expressions over the index's tables. Here they are compiled to SQLite's SQL and run by the
standard library; any engine that ibis knows runs the same expressions. Each reads its tables once: time grows with
the visits, no faster.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import ibis
from ibis import _

from handsfree.bundles.taken import withdrawals_here
from handsfree.desk.forms import Across, forms_of, known
from handsfree.store.port import VisitStore

_TEXTS = (
    "key", "job", "technician", "appliance", "serial", "instrument", "instrument_serial", "day", "outcome", "seal",
    "opened_at", "identity", "procedure", "version", "office", "calibrated_until", "device",
)  # fmt: skip
VISIT = ibis.table(
    {**dict.fromkeys(_TEXTS, "string"), **dict.fromkeys(("turns", "fails", "minutes"), "float64")}, name="visit"
)
READING = ibis.table(
    {"key": "string", "rate": "string", "at_time": "string", "quantity": "string", "value": "float64"},
    name="reading",
)
GATE = ibis.table({"key": "string", "gate": "string", "title": "string", "seconds": "float64"}, name="gate")
MISHEARD = ibis.table({"key": "string", "heard": "string", "meant": "string", "why": "string"}, name="misheard")
STOP = ibis.table(
    {"key": "string", "kind": "string", "why": "string", "gate": "string", "resumed": "string"}, name="stop"
)

Z = 1.959964
"""The 97.5 % point of the standard normal distribution."""


@dataclass(frozen=True)
class AskedOf:
    """Which visits a question is asked of; empty texts ask of all."""

    since: str = ""
    until: str = ""
    office: str = ""
    procedure: str = ""
    version: str = ""
    within: tuple[str, ...] | None = None
    """The offices whose visits the asker may know of; all where None."""


def _once(of: AskedOf) -> Any:
    """Return the visits asked of, without broken ones and copies: of folders with one record, the first by key."""
    visits = VISIT.filter((_.identity != "") & (_.seal != "broken"))
    for column in ("office", "procedure", "version"):
        if wanted := getattr(of, column):
            visits = visits.filter(visits[column] == wanted)
    if of.within is not None:
        visits = visits.filter(visits.office.isin(of.within) if of.within else ibis.literal(value=False))
    if of.since:
        visits = visits.filter(visits.day >= of.since)
    if of.until:
        visits = visits.filter(visits.day <= of.until)
    copies = ibis.window(group_by="identity", order_by="key")
    return visits.mutate(copy=ibis.row_number().over(copies)).filter(_.copy == 0).drop("copy")


def _interval(share: Any, count: Any) -> tuple[Any, Any]:
    """Return the ends of the 95 % interval of a share, in per cent (Wilson, J. Am. Stat. Assoc. 22 (1927) 209)."""
    middle = (share + Z * Z / (2 * count)) / (1 + Z * Z / count)
    half = Z * (share * (1 - share) / count + Z * Z / (4 * count * count)).sqrt() / (1 + Z * Z / count)
    return (100 * (middle - half)).round(1), (100 * (middle + half)).round(1)


def _went(visits: Any, by: list[str]) -> Any:
    """Return how visits went, by columns: a stop is counted by itself and is no failure.

    Right is a visit that came to its end with nothing on the list failed; its share is of those that came to one.
    """
    ended = _.outcome.isin(["finished", "incomplete"])
    told = visits.group_by(by).aggregate(
        visits=_.count(),
        ended=ended.cast("float64").sum(),
        right=((_.outcome == "finished") & (_.fails == 0)).cast("float64").sum(),
        stopped=_.outcome.isin(["stopped", "made-safe", "left-as-reported"]).cast("float64").sum(),
        turns_mean=_.turns.mean().round(2),
        minutes_mean=_.minutes.mean().round(1),
    )
    told = told.mutate(share=ibis.ifelse(_.ended > 0, _.right / _.ended, None))
    low, high = _interval(told.share, told.ended)
    return told.mutate(right_percent=(100 * told.share).round(1), at_least=low, at_most=high).select(
        *by,
        "visits",
        "ended",
        "right",
        "right_percent",
        "at_least",
        "at_most",
        "stopped",
        "turns_mean",
        "minutes_mean",
    )


def right_first_time(of: AskedOf) -> Any:
    """Return for each technician the share of visits that came to their end and were right."""
    return _went(_once(of), ["technician"]).order_by([_.at_most, _.technician])


def trend(of: AskedOf) -> Any:
    """Return the same for each technician and month."""
    dated = _once(of).mutate(month=_.day.substr(0, 7))
    return _went(dated, ["technician", "month"]).order_by([_.technician, _.month])


def devices(of: AskedOf) -> Any:
    """Return for each device and month how often it was not understood, for each visit."""
    heard = MISHEARD.group_by("key").aggregate(misheard=_.count())
    visits = _once(of).mutate(month=_.day.substr(0, 7), device=_.device.substr(0, 12))
    joined = visits.left_join(heard, visits.key == heard.key)
    return (
        joined.group_by(["device", "month"])
        .aggregate(
            visits=_.count(),
            misheard_mean=(_.misheard.coalesce(0).cast("float64").mean()).round(1),
            minutes_mean=_.minutes.mean().round(1),
        )
        .order_by([_.device, _.month])
    )


def calibration(of: AskedOf) -> Any:
    """Return for each instrument the last day on which it is in date, the soonest first."""
    return (
        _once(of)
        .filter(_.calibrated_until != "")
        .group_by(["instrument", "instrument_serial"])
        .aggregate(in_date_until=_.calibrated_until.max(), last_used=_.day.max(), visits=_.count())
        .order_by([_.in_date_until, _.instrument_serial])
    )


def versions(of: AskedOf) -> Any:
    """Return which device ran which version of which procedure, how often, first and last."""
    return (
        _once(of)
        .mutate(device=_.device.substr(0, 12))
        .group_by(["device", "procedure", "version"])
        .aggregate(visits=_.count(), first=_.day.min(), last=_.day.max())
        .order_by([_.device, _.procedure, _.version])
    )


def withdrawn(of: AskedOf) -> Any:
    """Return the visits led by a version that was withdrawn since, by the list that this machine has taken."""
    visits = _once(of)
    gone = [
        ((visits.procedure == one.procedure) & visits.version.startswith(f"{version} "), one)
        for one in withdrawals_here()
        for version in one.versions
    ]
    nothing = ibis.literal("")
    told = visits.mutate(
        withdrawn_at=ibis.cases(*((here, one.at) for here, one in gone), else_="") if gone else nothing,
        why=ibis.cases(*((here, one.why) for here, one in gone), else_="") if gone else nothing,
    )
    columns = ("key", "day", "device", "technician", "procedure", "version", "withdrawn_at", "why")
    return told.filter(told.withdrawn_at != "").select(*columns).order_by([_.day, _.key])


def stops(of: AskedOf) -> Any:
    """Return what stopped the work, was refused or left out, and where, the most frequent first."""
    joined = STOP.join(_once(of), "key")
    return (
        joined.group_by(["kind", "why", "gate"])
        .aggregate(visits=_.key.nunique(), times=_.count(), went_on=(_.resumed != "").cast("float64").sum())
        .order_by([_.visits.desc(), _.times.desc(), _.kind, _.why, _.gate])
    )


def drift(asked: Across, of: AskedOf) -> Any:
    """Return, by appliance and measurement point, how far a quantity as found lies from what was left before."""
    read = READING.filter(_.quantity == asked.quantity)
    both = read.group_by(["key", "rate"]).aggregate(
        found=read.value.max(where=read.at_time == "found"), left_at=read.value.max(where=read.at_time == "left")
    )
    dated = both.join(_once(of), "key").select(
        "serial", "appliance", "day", "opened_at", "rate", "found", "left_at"
    )
    window = ibis.window(group_by=["serial", "rate"], order_by=["day", "opened_at"])
    with_before = dated.mutate(left_before=_.left_at.lag().over(window), day_before=_.day.lag().over(window))
    return (
        with_before.filter(_.left_before.notnull() & _.found.notnull())
        .mutate(**{asked.column: (_.found - _.left_before).round(2)})
        .select("appliance", "serial", "rate", "day_before", "day", "left_before", "found", asked.column)
        .order_by([_[asked.column].abs().desc(), _.serial, _.rate, _.day])
    )


def spread(asked: Across, of: AskedOf) -> Any:
    """Return for each instrument the mean of a number with its uncertainty (k = 2; JCGM 100:2008, 4.2.3)."""
    joined = READING.filter(_.quantity == asked.quantity).join(_once(of), "key")
    mean, share, least, most = (f"{asked.column}_{which}" for which in ("mean", "uncertainty", "least", "most"))
    counted = joined.group_by(["instrument", "instrument_serial"]).aggregate(
        counted=_.count(), mean=_.value.mean(), square=(_.value * _.value).mean(), least=_.value.min(),
        most=_.value.max(),
    )  # fmt: skip
    variance = ibis.greatest(_.square - _.mean * _.mean, 0.0) * _.counted / (_.counted - 1)
    told = counted.filter(_.counted >= max(asked.least, 2)).mutate(
        **{
            mean: _.mean.round(3),
            share: (2 * (variance / _.counted).sqrt()).round(3),
            least: _.least,
            most: _.most,
        }
    )
    return (
        told.rename({asked.counted: "counted"})
        .select("instrument", "instrument_serial", asked.counted, mean, share, least, most)
        .order_by([_[mean].abs().desc(), _.instrument_serial])
    )


def slow_gates(of: AskedOf) -> Any:
    """Return the gates that cost most time in all."""
    return (
        GATE.join(_once(of), "key")
        .group_by(["gate", "title"])
        .aggregate(
            passages=_.count(),
            hours=(_.seconds.sum() / 3600).round(2),
            seconds_mean=_.seconds.mean().round(1),
            seconds_most=_.seconds.max().round(1),
        )
        .order_by([_.hours.desc(), _.gate])
    )


def misheard(of: AskedOf) -> Any:
    """Return words that were not understood or that became another value, most frequent first."""
    return (
        MISHEARD.join(_once(of), "key")
        .group_by(["heard", "meant", "why"])
        .aggregate(times=_.count())
        .order_by([_.times.desc(), _.heard, _.why])
    )


@dataclass(frozen=True)
class Inquiry:
    """A question: its title, how its answer is defined, what asks it, and which columns lead to its visits.

    `leads` has the answer's columns by the list's filters that they fill.
    """

    name: str
    title: str
    means: str
    ask: Callable[[AskedOf], Any]
    leads: Mapping[str, str] = field(default_factory=dict)


_ASKED: dict[str, Callable[[Across, AskedOf], Any]] = {"drift": drift, "spread": spread}
_LEADS: dict[str, Mapping[str, str]] = {
    "drift": {"serial": "serial"},
    "spread": {"instrument": "instrument_serial"},
}


def _of_trades() -> Iterator[Inquiry]:
    """Yield the questions that the trades ask of their own quantities."""
    for trade in known():
        for asked in forms_of(trade).report.across:
            yield Inquiry(
                asked.name, asked.title, asked.means, partial(_ASKED[asked.kind], asked), _LEADS[asked.kind]
            )


_RIGHT = "Right: came to its end with nothing on the list failed; the share is of the visits that came to an end, "
_WILSON = "with its 95 % interval (Wilson). A stop is counted by itself and is no failure."
QUESTIONS = {
    question.name: question
    for question in (
        Inquiry(
            "right-first-time", "Right first time", _RIGHT + _WILSON, right_first_time,
            {"technician": "technician"},
        ),
        Inquiry(
            "trend", "Technicians by month", _RIGHT + _WILSON, trend,
            {"technician": "technician", "month": "month"},
        ),
        Inquiry(
            "stops", "Recurring stops, refusals and steps left out",
            "What stopped the work, which values were not taken, what was left out, and at which step.", stops,
            {"stop": "why", "at": "gate"},
        ),
        Inquiry(
            "calibration", "Calibration falling due",
            "The last day on which each instrument is in date, by the job sheets.", calibration,
            {"instrument": "instrument_serial"},
        ),
        *_of_trades(),
        Inquiry(
            "slow-gates", "Gates that cost most time", "Hours at a step in all, seconds for each passage.",
            slow_gates, {"gate": "gate"},
        ),
        Inquiry(
            "devices", "Devices by month", "How often a device did not understand, for each visit.", devices,
            {"device": "device", "month": "month"},
        ),
        Inquiry(
            "versions", "Versions of procedures by device", "Which device ran which version, how often, when.",
            versions, {"device": "device", "procedure": "procedure", "version": "version"},
        ),
        Inquiry(
            "withdrawn", "Led by a version withdrawn since",
            "Visits whose procedure an author has withdrawn, by the list that this machine took: handsfree take.",
            withdrawn,
        ),
        Inquiry(
            "misheard", "Words misheard", "What was not understood, and values that were corrected.", misheard,
            {"heard": "heard"},
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


def answer(
    store: VisitStore, question: Inquiry, most: int | None = None, of: AskedOf | None = None
) -> QueryResult:
    """Ask a question of a store, of the visits that its user may see."""
    within = None if store.offices is None else tuple(sorted(store.offices))
    expression = question.ask(replace(of or AskedOf(), within=within))
    if most is not None:
        expression = expression.limit(most)
    return QueryResult(*store.rows_of(str(ibis.to_sql(expression, dialect=store.dialect))))


def _harmless(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"} else cell
