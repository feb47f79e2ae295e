"""What was carried in from earlier visits, told in words: where from, what was still to do, how values changed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence
from handsfree.desk.passages import answered
from handsfree.events import decisions as ev
from handsfree.events.earlier import Compared, EarlierAnswer
from handsfree.lexicon.catalogue import sentence_case
from handsfree.session.last_time import DAYS_A_MONTH

CARRIED_IN, LAST_TIME = "Carried in", "Last time"
TO_DO, ASKED_AGAIN = "Still to do", "Asked again now"


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
        for name, asked in ((TO_DO, False), (ASKED_AGAIN, True)):
            left = [one for one in visit.answers if one.to_do and answered(evidence, one.gate) == asked]
            if left:
                yield name, f"since {visit.day}: {'; '.join(map(_answer, left))}"
    for _, told in evidence.recorded.all(ev.LastTimeTold):
        for one in told.compared:
            where = sentence_case(wording.plain(evidence.recorded.rate_of(told.gate) or told.kept_at))
            yield f"{LAST_TIME}, {where.lower()}", f"{change_told(one)}{_a_month(one, opened.day)}"


def since_then(evidence: Evidence) -> Iterator[str]:
    """Yield for a customer, the newest first, what each earlier visit was, left to do, and left of each value."""
    for visit in evidence.recorded.opened.earlier:
        yield f"{visit.day}: {visit.title}, {wording.ended(visit.outcome).lower()}."
        for answer in visit.answers:
            now = f" - {_stands(evidence, answer)}" if answer.to_do else ""
            yield f"{visit.day}: {_answer(answer)}{now}."
    for _, told in evidence.recorded.all(ev.LastTimeTold):
        for one in told.compared:
            where = wording.plain(evidence.recorded.rate_of(told.gate) or told.kept_at)
            unit, unusual = wording.unit(one.unit), " - an unusual change" if one.unusual else ""
            name = f"{wording.quantity(one.quantity)} at {where}"
            was = f"{'left' if one.left else 'read last'} {one.last} {unit} on {one.day}"
            yield f"{name}: {one.now} {unit}, {was}{unusual}."


def _stands(evidence: Evidence, answer: EarlierAnswer) -> str:
    """Return how what an earlier visit left to do stands after this one."""
    return "asked again on this visit" if answered(evidence, answer.gate) else "still to do"


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
