"""One called value: how it is said back, and what speaks against it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.gates.visit import Understanding, Visit
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE
from handsfree.questions.ask import Ask


def is_no_number(record: ev.ReadingRecord) -> bool:
    """Say whether the display showed no number."""
    return record.value in {OVER_RANGE, NO_READING}


def spoken_value(visit: Visit, record: ev.ReadingRecord) -> str:
    """Return a recorded value as the tool says it."""
    if is_no_number(record):
        return visit.words(record.value.replace(" ", "-"))
    value, unit = record.shown
    digits = visit.catalogue.numbers.digits(Decimal(value))
    return f"{digits} {visit.catalogue.units[unit].said}" if record.called_unit else digits


def numeric(values: Mapping[str, ev.ReadingRecord]) -> dict[str, Decimal]:
    """Return the values that are numbers."""
    return {quantity: Decimal(record.value) for quantity, record in values.items() if not is_no_number(record)}


def called_number(record: ev.ReadingRecord) -> Decimal:
    """Return a number as it was called, in whatever unit that was."""
    return Decimal(record.shown[0])


def not_believed(visit: Visit, ask: Ask, record: ev.ReadingRecord, must_be_number: str | None) -> str | None:
    """Say why a value is not believed; one beyond a stop limit is always believed enough to be read back.

    `must_be_number` says why a display without a number is no answer, where it is none.
    """
    if is_no_number(record):
        return must_be_number
    value = Decimal(record.value)
    known = visit.catalogue.quantities[ask.quantity]
    decimals = known.decimals if ask.decimals is None else ask.decimals
    if record.called_unit:
        decimals = known.also[record.called_unit]
    if -int(called_number(record).as_tuple().exponent) < decimals:
        return f"the display shows {decimals} digits after the point"
    too_low = ask.low is not None and value < ask.low
    too_high = ask.high is not None and value > ask.high
    if not (too_low or too_high) or visit.beyond({ask.quantity: record}):
        return None
    return f"below {ask.low}" if too_low else f"above {ask.high}"


def in_doubt(utterance: Understanding, quantity: str) -> bool:
    """Say whether another value is near, or other speech likelier: a clear "confirmed" is then not enough.

    A slight doubt (no other value near) is settled by the read-back, but never by silence.
    """
    return bool(utterance.doubt) and not utterance.slight and utterance.in_doubt(quantity)


def asked_apart(visit: Visit, record: ev.ReadingRecord) -> bool:
    """Say whether a number has a twin that sounds alike (fifteen, fifty): its digits are asked one by one."""
    return not is_no_number(record) and visit.catalogue.numbers.ask_apart(called_number(record))


def has_twin(visit: Visit, record: ev.ReadingRecord, utterance: Understanding) -> bool:
    """Say whether a number was called by the very word that has a twin."""
    return asked_apart(visit, record) and not visit.catalogue.numbers.twin_words.isdisjoint(utterance.words)


def alike(visit: Visit, first: ev.ReadingRecord, again: ev.ReadingRecord) -> bool:
    """Say whether two calls can be the same display seconds apart."""
    if first.value == again.value or NO_READING in {first.value, again.value}:
        return first.value == again.value
    if first.resolution != again.resolution:
        return False
    room = visit.same_display(first.quantity, Decimal(first.resolution))
    return abs(Decimal(first.value) - Decimal(again.value)) <= room
