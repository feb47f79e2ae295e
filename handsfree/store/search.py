"""What the list of visits is asked for, as conditions and an order over the tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import ColumnElement, select

from handsfree.store.kept import Row
from handsfree.store.tables import MISHEARD, ROUTE, STOP, VISIT
from handsfree.store.wanted import ListWanted

_V = VISIT.c
ORDERS: dict[str, tuple[ColumnElement[Any], ...]] = {
    "danger": (_V.waits, _V.danger.desc(), _V.day.desc(), _V.opened_at.desc(), _V.key),
    "day": (_V.day.desc(), _V.opened_at.desc(), _V.key),
    "appliance": (_V.appliance, _V.serial, _V.day.desc(), _V.key),
    "technician": (_V.technician, _V.day.desc(), _V.key),
}
"""Each is total: no two visits stand level, so that pages neither repeat nor miss one."""

_SEARCHED = _V.job + " " + _V.site + " " + _V.appliance + " " + _V.serial + " " + _V.technician + " " + _V.told
_SAME: dict[str, ColumnElement[Any]] = {
    "technician": _V.technician, "outcome": _V.outcome, "seal": _V.seal, "serial": _V.serial,
    "procedure": _V.procedure, "version": _V.version, "office": _V.office, "instrument": _V.instrument_serial,
}  # fmt: skip
_BESIDE: dict[str, tuple[ColumnElement[Any], ColumnElement[Any]]] = {
    "stop": (STOP.c.key, STOP.c.why),
    "at": (STOP.c.key, STOP.c.gate),
    "heard": (MISHEARD.c.key, MISHEARD.c.heard),
}
_BEGINNINGS: dict[str, ColumnElement[Any]] = {"month": _V.day, "device": _V.device}


def order(wanted: ListWanted) -> tuple[ColumnElement[Any], ...]:
    """Return the order that is asked for; the inbox's where there is no such one."""
    return ORDERS.get(wanted.sort, ORDERS["danger"])


def conditions(asked: Row) -> Iterator[ColumnElement[bool]]:
    """Yield what a visit must hold to be listed; `asked` has the members of `ListWanted`."""
    for word in str(asked["words"]).split():
        yield _SEARCHED.icontains(word, autoescape=True, escape="!")
    for name, column in _SAME.items():
        if value := asked[name]:
            yield column == value
    for name, (key, column) in _BESIDE.items():
        if value := asked[name]:
            yield _V.key.in_(select(key).where(column == value))
    if gate := asked["gate"]:
        yield _V.route.in_(select(ROUTE.c.route).where(ROUTE.c.gate == gate))
    for name, column in _BEGINNINGS.items():
        if value := asked[name]:
            yield column.startswith(str(value), autoescape=True, escape="!")
    yield from (_V.day >= since for since in [asked["since"]] if since)
    yield from (_V.day <= until for until in [asked["until"]] if until)
