"""Calibrations that fall due and appliances' next visits, as a calendar that any program takes (RFC 5545)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from icalendar import Calendar, Event

from handsfree.store.kept import VisitRow

A_YEAR = dt.timedelta(days=365)
"""From a visit to the next one: common practice, no source; the maker's manual may ask for less."""


def due(rows: Iterable[VisitRow], now: dt.datetime) -> bytes:
    """Return the calendar for some visits, newest first: one day for each instrument and each appliance."""
    calendar = Calendar()
    calendar.add("prodid", "-//handsfree//office//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", "Calibrations and next visits")
    instruments: dict[str, VisitRow] = {}
    appliances: dict[str, VisitRow] = {}
    for row in rows:
        if row.instrument_serial and row.calibrated_until:
            instruments.setdefault(row.instrument_serial, row)
        if row.serial and row.outcome != "open":
            appliances.setdefault(row.serial, row)
    for serial, row in instruments.items():
        told = f"Calibration falls due: {row.instrument} {serial}"
        _add(calendar, f"calibration-{serial}", row.calibrated_until, says=told, site=row.site, now=now)
    for serial, row in appliances.items():
        if day := _day(row.day):
            told = f"Next visit: {row.appliance} {serial}"
            _add(calendar, f"visit-{serial}", (day + A_YEAR).isoformat(), says=told, site=row.site, now=now)
    return bytes(calendar.to_ical())


def _add(calendar: Calendar, name: str, day: str, *, says: str, site: str, now: dt.datetime) -> None:
    begins = _day(day)
    if begins is None:
        return
    event = Event()
    event.add("uid", f"{name}@handsfree")
    event.add("dtstamp", now)
    event.add("dtstart", begins)
    event.add("dtend", begins + dt.timedelta(days=1))
    event.add("summary", says)
    event.add("transp", "TRANSPARENT")
    if site and name.startswith("visit-"):
        event.add("location", site)
    calendar.add_component(event)


def _day(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text[:10])
    except ValueError:
        return None
