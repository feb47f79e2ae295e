"""How the desk writes quantities, units, times and outcomes, so that page, report and terminal agree."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from decimal import ROUND_UP, Decimal, InvalidOperation

from handsfree.desk import forms
from handsfree.events.decisions import Lacking, ProcedureStanding, ReadingRecord, VerdictGiven, VisitOpened
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE

_NOT_DONE = re.compile(r"(?:not done|photo left out)?[ ,.]*(?:because)?[ ,.]*", re.IGNORECASE)
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

RE_ENTRY = {
    "walked": "the steps that are asked before going on were reported done",
    "misheard": "the technician said that it was misheard",
    "false-stop": "the technician said that it was no call to stop",
    "relit": "it was lit again",
}
"""How the work went on after a stop: a person's report each time."""

TAKEN_BACK = (RE_ENTRY["misheard"], RE_ENTRY["false-stop"])
"""Of these, that the stop was none: nothing was looked at before the work went on."""

PARTS = {
    "outside": "for whoever has left",
    "re-entry": "before the work goes on",
    "relight": "before anything fires",
    "way-down": "for leaving it off",
}
"""When the steps after a stop are asked."""

_STOPS = {
    "stop-work": "the technician called stop",
    "fire": "fire or smoke was called",
    "feel-ill": "somebody felt ill",
    "electric-shock": "an electric shock was called",
    "burn": "a burn or a scald was called",
    "flood": "escaping water was called",
    "must-leave": "the technician had to leave",
    "no-answer": "nobody answered",
    "turn-not-undone": "a turn that was not as advised was not undone",
    "no-reading": "a reading that was needed could not be taken",
}
"""Stops of any trade; the others stand in each trade's report.yaml."""

_ENDED = {
    "finished": "Finished",
    "incomplete": "Left incomplete",
    "made-safe": "Stopped and left off",
    "left-as-reported": "Stopped, left as reported",
    "stopped": "Stopped",
    "open": "Not closed",
    "damaged": "Damaged",
}

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


def with_units(text: str) -> str:
    """Return a text with each UCUM unit that stands in it by itself as it is printed."""
    return " ".join(
        _UNITS.get(word.rstrip(",;"), word.rstrip(",;")) + word[len(word.rstrip(",;")) :]
        for word in text.split(" ")
    )


def verdict(given: VerdictGiven) -> str:
    """Return a verdict's sentence with its units as they are printed; a 1 is a number there and no unit."""
    return " ".join(word if word.rstrip(",;") == "1" else with_units(word) for word in given.sentence.split(" "))


def value(reading: ReadingRecord) -> str:
    """Return a value with its unit, as called; called in another unit, with its conversion beside it."""
    number, code = reading.shown
    if reading.value in {NO_READING, OVER_RANGE}:
        return reading.value
    own = f" = {reading.value} {unit(reading.unit)}" if reading.called_unit else ""
    return f"{number} {unit(code)}{own}".strip()


def outcome(name: str, *, demonstrated: bool = True) -> str:
    """Return a verdict's outcome in words; one inside the band that is not proven there says so."""
    words = _OUTCOMES.get(name) or forms.outcomes().get(name, name.replace("-", " "))
    return f"{words}, not demonstrated" if name == "within" and not demonstrated else words


def stop(why: str, detail: str) -> str:
    """Return why the work stopped, in words: what was called, or what the step found."""
    words = {**_STOPS, **forms.stops()}.get(why)
    told = "" if detail == "called by the person" else detail.strip().rstrip(".")
    return words or told or plain(why)


def plain(name: str) -> str:
    """Return a name of the record as words."""
    return name.replace("-", " ").replace("_", " ").replace("/", ", ")


def reason(text: str) -> str:
    """Return why something was not done, without the words that "not done" or "photo left out" begins with."""
    told = _NOT_DONE.sub("", text.strip(), count=1).strip(" ,.")
    return told or "the reason was spoken and is kept as sound"


def source(text: str) -> str:
    """Return where a limit comes from, for a reader who knows no catalogue of sources."""
    return text.replace("common practice, no source", "practice of the trade, not published")


def is_bad(outcome_: str) -> bool:
    """Say whether an outcome speaks against the thing judged."""
    return outcome_ not in NOT_BAD


def clock(milliseconds: int) -> str:
    """Return a time of the visit as minutes and seconds, or with hours from the first hour on."""
    seconds = milliseconds // 1000
    hours, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def local(stamp: str, minutes_east: int) -> str:
    """Return a time of RFC 3339 as a clock in a zone shows it, with the zone; as it stands when it is none."""
    try:
        moment = datetime.fromisoformat(stamp)
    except ValueError:
        return stamp
    if moment.tzinfo is None:
        return stamp
    shown = moment.astimezone(timezone(timedelta(minutes=minutes_east)))
    return f"{shown:%Y-%m-%d %H:%M} UTC{shown.isoformat()[-6:] if minutes_east else ''}"


def expanded(standard: str, value: str) -> str:
    """Return twice a standard uncertainty as " ± …", rounded up to the value's decimals or to one digit."""
    try:
        twice = 2 * Decimal(standard)
    except InvalidOperation:
        return ""
    if not twice:
        return ""
    decimals = max(len(value.partition(".")[2]), -twice.adjusted(), 0)
    return f" ± {twice.quantize(Decimal(1).scaleb(-decimals), ROUND_UP)}"


def turn(eighths: int) -> str:
    """Return a turn of a screw in words."""
    names = {1: "an eighth of a turn", 2: "a quarter turn", 4: "half a turn", 8: "a full turn"}
    return names.get(eighths, f"{eighths} eighths of a turn")


def listed(names: list[str]) -> str:
    """Return names as a list in a sentence."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"


def standing_told(standing: ProcedureStanding) -> str:
    """Return what a procedure counted for, and its version where its file says one."""
    version = f" {standing.version}" if standing.version else ""
    if standing.status == "approved":
        return f"version{version}, approved by {standing.by} on {standing.at[:10]} until {standing.until[:10]}"
    what = "that ships with the program, " if standing.status == "example" else ""
    return f"{standing.status.upper()}{version}: {what}not approved by any author"


def version_told(opened: VisitOpened) -> str:
    """Return which version of its procedure led a visit: as its file says it, what it counted for, its digest.

    Of a record that does not say what its procedure counted for, the digest alone.
    """
    standing, digest = opened.standing, opened.procedure_sha256[:12]
    return digest if standing is None else f"{standing.version or 'none'} {standing.status} {digest}"


def lacking(lacks: Sequence[Lacking]) -> str:
    """Return what a visit was for and did not show, each with its reason."""
    return listed([f"{one.what} ({one.why})" for one in lacks])


def ended(outcome_: str) -> str:
    """Return how a visit ended, by the outcome that its close or the index names, in words."""
    return _ENDED.get(outcome_, plain(outcome_).capitalize())
