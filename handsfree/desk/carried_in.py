"""What was carried in from earlier visits, told in words: where from, what was still to do, how values changed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence
from handsfree.events import decisions as ev
from handsfree.events.earlier import Compared, EarlierAnswer
from handsfree.lexicon.catalogue import sentence_case
from handsfree.session.last_time import DAYS_A_MONTH

CARRIED_IN, TO_DO, LAST_TIME = "Carried in", "Still to do", "Last time"


def carried_in(evidence: Evidence) -> Iterator[tuple[str, str]]:
    """Yield each earlier visit with what it found and left to do, and each value beside that of last time."""
    opened = evidence.recorded.opened
    for visit in opened.earlier:
        ended = wording.ended(visit.outcome).lower()
        lacking = f", without {', '.join(visit.lacking)}" if visit.lacking else ""
        yield CARRIED_IN, f"from {visit.source}; {ended}{lacking}"
        done = "; ".join(_answer(one) for one in visit.answers if not one.to_do)
        if done:
            yield f"On {visit.day}", done
        to_do = "; ".join(_answer(one) for one in visit.answers if one.to_do)
        if to_do:
            yield TO_DO, f"since {visit.day}: {to_do}"
    for _, told in evidence.recorded.all(ev.LastTimeTold):
        for one in told.compared:
            where = sentence_case(wording.plain(evidence.recorded.rate_of(told.gate) or told.kept_at))
            yield f"{LAST_TIME}, {where.lower()}", f"{change_told(one)}{_a_month(one, opened.day)}"


def _answer(answer: EarlierAnswer) -> str:
    return f"{answer.title}: {answer.answer}{f', {answer.text}' if answer.text else ''}"


def change_told(one: Compared) -> str:
    """Return a value beside that of last time: both, the change, and why that is unusual."""
    unit = wording.unit(one.unit)
    sign = "" if one.change.startswith("-") else "+"
    unusual = f", UNUSUAL {one.unusual}" if one.unusual else ""
    how = "left" if one.left else "read last"
    now, last = f"{wording.quantity(one.quantity)} {one.now} {unit}", f"{how} {one.last} {unit} on {one.day}"
    return f"{now}, {last}: {sign}{one.change} {unit}{unusual}"


def _a_month(one: Compared, today: str) -> str:
    """Return the change for each month, where at least one lies between."""
    try:
        days = (date.fromisoformat(today) - date.fromisoformat(one.day)).days
    except ValueError:
        return ""
    if days < DAYS_A_MONTH:
        return ""
    return f" ({Decimal(one.change) * DAYS_A_MONTH / days:+.2g} a month)"
