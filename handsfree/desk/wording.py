"""How the desk writes quantities, units, times and outcomes, so that page, report and terminal agree."""

from __future__ import annotations

from handsfree.desk import forms
from handsfree.events.decisions import ReadingRecord, VisitClosed

_UNITS = {
    "[ppm]": "ppm",
    "Cel": "°C",
    "uA": "µA",
    "m3": "m³",
    "[cft_i]": "ft³",
    "/min": "1/min",
    "1": "",
    "[in_i'H2O]": "in w.c.",
}
_OUTCOMES = {
    "within": "within",
    "outside": "outside",
    "too-close": "too close to call",
    "no-limit": "no limit loaded",
    "missing": "not judged: a reading is missing",
}
NOT_BAD = frozenset({"within", "too-close", "no-limit", "missing"})
"""Outcomes that say nothing against the thing judged; every other outcome of any trade does."""

HOW = {
    "affirmed": "read back and affirmed",
    "silence": "accepted by silence",
    "twice": "called twice, both alike",
    "corrected": "read back and corrected",
    "timed": "timed between two marks",
}


def quantity(name: str) -> str:
    """Return a quantity as it is printed."""
    return forms.names().get(name, name.replace("_", " ").capitalize())


def unit(code: str) -> str:
    """Return a UCUM unit as it is printed."""
    return _UNITS.get(code, code)


def value(reading: ReadingRecord) -> str:
    """Return a value with its unit, as called; called in another unit, with its conversion beside it."""
    number, code = reading.shown
    own = f" = {reading.value} {unit(reading.unit)}" if reading.called_unit else ""
    return f"{number} {unit(code)}{own}".strip()


def outcome(name: str, *, demonstrated: bool = True) -> str:
    """Return a verdict's outcome in words; one inside the band that is not proven there says so."""
    words = _OUTCOMES.get(name) or forms.outcomes().get(name, name.replace("-", " "))
    return f"{words}, not demonstrated" if name == "within" and not demonstrated else words


def is_bad(outcome_: str) -> bool:
    """Say whether an outcome speaks against the thing judged."""
    return outcome_ not in NOT_BAD


def clock(milliseconds: int) -> str:
    """Return a time of the visit as minutes and seconds, or with hours from the first hour on."""
    seconds = milliseconds // 1000
    hours, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def turn(eighths: int) -> str:
    """Return a turn of a screw in words."""
    names = {1: "an eighth of a turn", 2: "a quarter turn", 4: "half a turn", 8: "a full turn"}
    return names.get(eighths, f"{eighths} eighths of a turn")


def listed(names: list[str]) -> str:
    """Return names as a list in a sentence."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"


def lacking(closed: VisitClosed) -> str:
    """Return what a visit was for and did not show, each with its reason."""
    return listed([f"{one.what} ({one.why})" for one in closed.lacking])
