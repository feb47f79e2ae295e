"""Questions across visits as ibis expressions, which any engine that ibis knows answers alike.

They read the tables of `store/questioned.py` and give whole numbers and texts alone, in an order that is total:
sums and counts, no mean, no rounding, no share. Those are told by `told_numbers.py`, once, in Python. Each reads
its tables once, so that time grows with the visits, no faster; a condition on keys is `isin`, since a semi-join is
asked again for every row by some engines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import ibis
from ibis import _

from handsfree.bundles.taken import withdrawals_here
from handsfree.desk.forms import Across
from handsfree.store.questioned import QUESTIONED, TEN_THOUSANDTHS

VISIT, READING, GATE, MISHEARD, STOP = (
    ibis.table(QUESTIONED[name], name=name) for name in ("visit", "reading", "gate", "misheard", "stop")
)


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


def _counted(condition: Any) -> Any:
    """Return how many hold; a truth value is no number to some engines."""
    return ibis.ifelse(condition, 1, 0).sum()


def _went(visits: Any, by: list[str]) -> Any:
    """Return how visits went, by columns: a stop is counted by itself and is no failure."""
    return (
        visits.group_by(by)
        .aggregate(
            visits=_.count(),
            ended=_counted(_.outcome.isin(["finished", "incomplete"])),
            right=_counted((_.outcome == "finished") & (_.fails == 0)),
            stopped=_counted(_.outcome.isin(["stopped", "made-safe", "left-as-reported"])),
            turns=_.turns.sum(),
            minute_tenths=_.minute_tenths.sum(),
        )
        .order_by(by)
    )


def right_first_time(of: AskedOf) -> Any:
    """Return for each technician how many visits came to their end, and how many were right."""
    return _went(_once(of), ["technician"])


def trend(of: AskedOf) -> Any:
    """Return the same for each technician and month."""
    return _went(_once(of).mutate(month=_.day.substr(0, 7)), ["technician", "month"])


def devices(of: AskedOf) -> Any:
    """Return for each device and month how often it was not understood."""
    heard = MISHEARD.group_by("key").aggregate(misheard=_.count())
    visits = _once(of).mutate(month=_.day.substr(0, 7), device=_.device.substr(0, 12))
    return (
        visits.left_join(heard, visits.key == heard.key)
        .group_by(["device", "month"])
        .aggregate(visits=_.count(), misheard=_.misheard.coalesce(0).sum(), minute_tenths=_.minute_tenths.sum())
        .order_by([_.device, _.month])
    )


def calibration(of: AskedOf) -> Any:
    """Return for each instrument the last day on which it is in date, the soonest first."""
    return (
        _once(of)
        .filter(_.calibrated_until != "")
        .group_by(["instrument", "instrument_serial"])
        .aggregate(in_date_until=_.calibrated_until.max(), last_used=_.day.max(), visits=_.count())
        .order_by([_.in_date_until, _.instrument_serial, _.instrument])
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
    return (
        STOP.join(_once(of), "key")
        .group_by(["kind", "why", "gate"])
        .aggregate(visits=_.key.nunique(), times=_.count(), went_on=_counted(_.resumed != ""))
        .order_by([_.visits.desc(), _.times.desc(), _.kind, _.why, _.gate])
    )


def drift(asked: Across, of: AskedOf) -> Any:
    """Return, by appliance and measurement point, how far a quantity as found lies from what was left before."""
    read = READING.filter(_.quantity == asked.quantity)
    both = read.group_by(["key", "rate"]).aggregate(
        found=read.parts.max(where=read.at_time == "found"), left_at=read.parts.max(where=read.at_time == "left")
    )
    dated = both.join(_once(of), "key").select(
        "key", "serial", "appliance", "day", "opened_at", "rate", "found", "left_at"
    )
    window = ibis.window(group_by=["serial", "rate"], order_by=["day", "opened_at", "key"])
    with_before = dated.mutate(left_before=_.left_at.lag().over(window), day_before=_.day.lag().over(window))
    return (
        with_before.filter(_.left_before.notnull() & _.found.notnull())
        .mutate(drift=_.found - _.left_before)
        .mutate(size=_.drift.abs())
        .select("appliance", "serial", "rate", "day_before", "day", "left_before", "found", "drift", "size", "key")
        .order_by([_.size.desc(), _.serial, _.rate, _.day, _.key])
    )


def spread(asked: Across, of: AskedOf) -> Any:
    """Return for each instrument the sums from which the mean of a number and its spread follow.

    A number is told as `whole` ten thousands of its parts and the `rest`: the sums of their squares and products
    stay far below the largest whole number of any engine.
    """
    joined = READING.filter(_.quantity == asked.quantity).join(_once(of), "key")
    split = joined.mutate(whole=(_.parts // TEN_THOUSANDTHS).cast("int64"))
    split = split.mutate(rest=_.parts - _.whole * TEN_THOUSANDTHS)
    return (
        split.group_by(["instrument", "instrument_serial"])
        .aggregate(
            counted=_.count(), total=_.parts.sum(), wholes=(_.whole * _.whole).sum(),
            products=(_.whole * _.rest).sum(), rests=(_.rest * _.rest).sum(),
            least=_.parts.min(), most=_.parts.max(),
        )
        .filter(_.counted >= max(asked.least, 2))
        .order_by([_.instrument_serial, _.instrument])
    )  # fmt: skip


def slow_gates(of: AskedOf) -> Any:
    """Return the gates that cost most time in all."""
    return (
        GATE.join(_once(of), "key")
        .group_by(["gate", "title"])
        .aggregate(passages=_.count(), tenths=_.second_tenths.sum(), most=_.second_tenths.max())
        .order_by([_.tenths.desc(), _.gate, _.title])
    )


def misheard(of: AskedOf) -> Any:
    """Return words that were not understood or that became another value, most frequent first."""
    return (
        MISHEARD.join(_once(of), "key")
        .group_by(["heard", "meant", "why"])
        .aggregate(times=_.count())
        .order_by([_.times.desc(), _.heard, _.why, _.meant])
    )
