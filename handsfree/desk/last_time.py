"""The earlier visits to an appliance, read from a folder of records for the next visit to it.

A record that does not hold is told and not carried in. A person's words come along by the same commitment, so
that erasing them where they were said erases them here; what is erased already is not carried in.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from handsfree.desk.earlier_records import EarlierRecord, EarlierRecords, HeldRecord, alike
from handsfree.desk.evidence import Evidence, number
from handsfree.desk.passages import answered, last_passages, own_id
from handsfree.events.earlier import EarlierAnswer, EarlierReading, EarlierVisit
from handsfree.events.inputs import PersonalData
from handsfree.ledger.personal import Committed, commitments_in, committed, names_of
from handsfree.lexicon.catalogue import Catalogue
from handsfree.office.verification import known_enrolment
from handsfree.problem import one_line
from handsfree.session.last_time import sayable
from handsfree.session.plan import Plan

MOST_CARRIED = 5
"""Visits, the newest: what they left is told, and older ones say little of today."""
MOST_FACTS, MOST_READINGS, MOST_ANSWERS, LONGEST_WORDS = 20, 100, 40, 400
"""Of one visit; and characters of one text."""


@dataclass(frozen=True)
class LastTime:
    """What is carried into a visit."""

    visits: tuple[EarlierVisit, ...] = ()
    """The earlier visits, the newest first."""
    words: tuple[Committed, ...] = ()
    """The words that they commit to."""
    left_out: tuple[str, ...] = ()
    """A sentence for each record that was left out."""


def last_time(folder: Path, plan: Plan, enrolment: Path | None = None) -> LastTime:
    """Return what earlier visits in a folder, records or packed ones, say to a visit of this plan.

    Raises Problem when there is no such folder, or it cannot be read.
    """
    listed, read = known_enrolment(enrolment), {}
    with EarlierRecords(folder) as records:
        for record in _of_this_appliance(records, plan):
            held = records.held(record, listed)
            if held is not None:
                read[held.report.identity] = held
        newest = sorted(read.values(), key=lambda one: one.report.opened_at or "", reverse=True)[:MOST_CARRIED]
        words: dict[str, Committed] = {}
        visits = [_in_short(one, newest[:place], plan.catalogue, words) for place, one in enumerate(newest)]
        return LastTime(tuple(visits), tuple(words.values()), tuple(records.left_out))


def _of_this_appliance(records: EarlierRecords, plan: Plan) -> Iterator[EarlierRecord]:
    """Yield the records of the plan's appliance, by its serial and model."""
    for record in records.all:
        opened = record.opened
        if opened.trade == plan.procedure.trade.name and alike(opened.serial, plan.sheets.job.serial):
            if alike(opened.appliance, plan.sheets.appliance.appliance):
                yield record
            else:
                records.leave_out(record.folder.name, f"its serial is the same, but it is of {opened.appliance}")


def _in_short(
    read: HeldRecord, later: list[HeldRecord], catalogue: Catalogue, words: dict[str, Committed]
) -> EarlierVisit:
    """Return what the next visit needs of one; the words that it commits to are put among `words`."""
    evidence, opened, closed = read.evidence, read.opened, read.evidence.recorded.closed
    head = read.report.head
    return EarlierVisit(
        identity=read.report.identity or "",
        count=head.count if head else 0,
        checksum=head.checksum if head else "",
        vouched=read.report.anchor.state.value if read.report.anchor else "",
        day=_cut(opened.day),
        procedure=_cut(opened.procedure),
        title=_cut(evidence.recorded.procedure_title),
        outcome=closed.outcome if closed else "open",
        lacking=tuple(_cut(one.what) for one in evidence.ending.lacking[:MOST_ANSWERS]),
        facts={_cut(name): _cut(opened.facts[name]) for name in list(opened.facts)[:MOST_FACTS]},
        readings=tuple(_readings(evidence, catalogue))[:MOST_READINGS],
        answers=tuple(_answers(read, later, catalogue, words))[:MOST_ANSWERS],
    )


def _cut(text: str) -> str:
    return one_line(text)[:LONGEST_WORDS]


def _readings(evidence: Evidence, catalogue: Catalogue) -> Iterator[EarlierReading]:
    """Yield the numbers of the last group that stands at each rate, and at each point without one.

    What nobody could call is left out: a record may claim any number.
    """
    turned = max((step.at for step, turn in evidence.turns if turn.eighths), default=-1)
    last: dict[tuple[str, str], EarlierReading] = {}
    for group in evidence.groups:
        if not group.stands or group.voided:
            continue
        rate = evidence.recorded.rate_of(group.readings[0].event.gate)
        for quantity, measured in group.values.items():
            reading, known = measured.reading, catalogue.quantities.get(quantity)
            value = number(reading.value)
            if known and known.unit == reading.unit and value is not None and known.low <= value <= known.high:
                last[quantity, rate or group.kept_at] = EarlierReading(
                    point=group.kept_at,
                    rate=rate,
                    quantity=quantity,
                    value=reading.value,
                    unit=reading.unit,
                    resolution=reading.resolution[:LONGEST_WORDS],
                    left=evidence.finished and group.ended > turned,
                )
    yield from last.values()


def _answers(
    read: HeldRecord, later: list[HeldRecord], catalogue: Catalogue, words: dict[str, Committed]
) -> Iterator[EarlierAnswer]:
    """Yield what was found, advised or fitted: what was told in a few words, and what leaves something to do.

    What was advised is to do until a later visit answers it otherwise; what was found on a visit that did not come
    to its end, until a later one did.
    """
    evidence, form = read.evidence, read.evidence.forms.report.last_time
    noted = {one.gate: one for one in evidence.noted}
    for gate, span in last_passages(evidence).items():
        note, advised = noted.get(gate), span.outcome in form.advised
        heard = note.answer if note is not None else _heard(evidence, gate, span.outcome) if advised else ""
        if not heard:
            continue
        found = note is not None and not evidence.finished and own_id(gate) not in form.told
        answer = EarlierAnswer(
            gate=own_id(gate),
            title=_cut(span.title),
            answer=_cut(heard),
            to_do=(advised or (found and not any(one.evidence.finished for one in later)))
            and not any(answered(one.evidence, own_id(gate)) for one in later),
        )
        yield answer if note is None else _with_words(answer, read, gate, catalogue, words)


def _heard(evidence: Evidence, gate: str, outcome: str) -> str:
    """Return an answer as it is said; nothing where it was no answer, as a verdict is none."""
    plan = evidence.recorded.plan
    known = plan is not None and gate in plan.procedure.gates
    phrases = plan.gate(gate).gate.phrases.get(outcome) if plan is not None and known else None
    return phrases[0] if phrases else ""


def _with_words(
    answer: EarlierAnswer, read: HeldRecord, gate: str, catalogue: Catalogue, words: dict[str, Committed]
) -> EarlierAnswer:
    """Return the answer with the words told with it, as far as they are still here and were not erased.

    Words that lie beside the earlier record keep their commitment; those that stand in it in clear get one.
    """
    text, files = read.noted.get(gate, "").strip(), names_of(read.evidence.recorded.folder)
    here = commitments_in(text)
    kept = files.file(here[0]) if len(here) == 1 else None
    if not text or (here and kept is None):
        return answer
    one = committed(text[:LONGEST_WORDS].encode()) if kept is None else Committed(here[0], kept)
    words[one.commitment] = one
    data = PersonalData(commitment=one.commitment, whose="technician", what="words")
    spoken = sayable(catalogue, files.told(text))
    form = text if here else one.in_text
    return answer.model_copy(update={"text": form, "words": data, "spoken": spoken})
