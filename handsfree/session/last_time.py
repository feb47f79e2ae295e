"""What earlier visits to the appliance say to this one: pure, from what the first entry carried in.

A value of last time is told after the new one was accepted, never before: who knows it hears it.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.events.earlier import Compared, EarlierAnswer, EarlierReading, EarlierVisit
from handsfree.events.state import State
from handsfree.lexicon.catalogue import Catalogue, sentence_case
from handsfree.questions.keypad import shown_unit
from handsfree.session.plan import Plan
from handsfree.session.situation import numeric

MOST_TOLD = 2
"""Items in one sentence of the opening; how many more there are is said."""

WEEKS_FROM, MONTHS_FROM, YEARS_FROM = 14, 60, 730
"""From how many days on an interval is told in weeks, months and years."""
DAYS_A_MONTH, DAYS_A_YEAR = Decimal("30.4"), Decimal("365.2")

_ENDED = {"finished": "ended-finished", "incomplete": "ended-incomplete", "open": "ended-open"}


def last_time_words(plan: Plan, first: ev.VisitOpened) -> Iterator[str]:
    """Yield what the opening says: the last visit and those before it, other facts, what is still to do."""
    if not first.earlier:
        return
    words, (last, *before) = plan.catalogue, first.earlier
    ended = words.say(_ENDED.get(last.outcome, "ended-off"))
    yield words.say("last-visit", ago=ago(words, last.day, first.day), title=_said(words, last.title), ended=ended)
    if before:
        yield words.say("last-before", titles=_some(words, [_said(words, one.title) for one in before]))
    for name in plan.sheets.same_facts():
        was = last.facts.get(name, "")
        if was and was != first.facts.get(name):
            yield words.say("last-fact", what=sentence_case(name), was=_said(words, was))
    to_do = [told(words, answer) for visit in first.earlier for answer in visit.answers if answer.to_do]
    if to_do:
        yield words.say("last-to-do", what=_some(words, to_do))
    elif last.answers:
        yield words.say("last-done", what=_some(words, [told(words, one) for one in last.answers]))


def told(words: Catalogue, answer: EarlierAnswer) -> str:
    """Return an answer of an earlier visit as it is said; its words only where they may be."""
    each = (_said(words, answer.title), _said(words, answer.answer), answer.text if answer.spoken else "")
    return ", ".join(text for text in each if text)


def sayable(words: Catalogue, text: str) -> bool:
    """Say whether the tool may say a text of another record: it may hear itself, so none that stops the work."""
    return words.hazard_within(words.as_heard(text)) is None


def _said(words: Catalogue, text: str) -> str:
    return text if sayable(words, text) else "…"


def _some(words: Catalogue, items: list[str]) -> str:
    """Return the first items, and how many more there are."""
    more = len(items) - MOST_TOLD
    named = items[:MOST_TOLD]
    return "; ".join([*named, words.say("more-items", count=str(more))] if more > 0 else named)


def ago(words: Catalogue, then: str, today: str) -> str:
    """Return how long ago a day was, in whole days, weeks, months or years; the day itself where it is none."""
    try:
        days = (date.fromisoformat(today) - date.fromisoformat(then)).days
    except ValueError:
        return _said(words, then)
    if days <= 1:
        return words.say("ago-today" if days <= 0 else "ago-yesterday")
    for saying, least, long in (
        ("ago-years", YEARS_FROM, DAYS_A_YEAR),
        ("ago-months", MONTHS_FROM, DAYS_A_MONTH),
        ("ago-weeks", WEEKS_FROM, Decimal(7)),
    ):
        if days >= least:
            return words.say(saying, count=str(round(days / long)))
    return words.say("ago-days", count=str(days))


def compared(plan: Plan, state: State) -> tuple[Compared, ...]:
    """Return the values just accepted at the gate at hand beside those of last time; nothing where it was told.

    Only quantities are compared whose trade has a rule for their drift, and only with visits of the same facts.
    """
    where, kept_at = plan.where_read(state.gate), plan.gate(state.gate).gate.effects.kept_at
    if state.compared.get(where, kept_at) != kept_at:
        return ()
    found = []
    for quantity, reading in numeric(_standing(state, kept_at)).items():
        rule = plan.procedure.trade.quantities[quantity].drift
        last = None if rule is None else _last_value(plan, state, quantity)
        if rule is None or last is None:
            continue
        visit, was = last
        change = _rounded(plan, quantity, reading.value) - _rounded(plan, quantity, Decimal(was.value))
        beyond = rule.most is not None and abs(change) > rule.most
        unusual = f"by more than {rule.most} ({rule.source})" if beyond else ""
        found.append(
            Compared(
                quantity=quantity,
                unit=was.unit,
                now=f"{reading.value:f}",
                last=was.value,
                day=visit.day,
                left=was.left,
                change=f"{change:f}",
                unusual=unusual,
            )
        )
    return tuple(found)


def _standing(state: State, kept_at: str) -> dict[str, ev.ReadingRecord]:
    """Return the values that stand at a measurement point: as they settled, else as the last set has them."""
    taken = state.readings(kept_at)
    settled = {name: one.reading for name, one in state.settled.get(kept_at, {}).items()}
    return {**(taken[-1].values if taken else {}), **settled}


def _last_value(plan: Plan, state: State, quantity: str) -> tuple[EarlierVisit, EarlierReading] | None:
    """Return what the newest comparable visit left of a quantity where the gate at hand reads it."""
    effects, facts = plan.gate(state.gate).gate.effects, plan.sheets.own_facts()
    for visit in state.earlier:
        if any(visit.facts.get(name) != facts.get(name) for name in plan.sheets.same_facts()):
            continue
        for one in visit.readings:
            there = one.rate == effects.rate if effects.rate else one.point == effects.kept_at
            if there and one.quantity == quantity and one.unit == plan.catalogue.quantities[quantity].unit:
                return visit, one
    return None


def _rounded(plan: Plan, quantity: str, value: Decimal) -> Decimal:
    """Return a value with the digits that an instrument shows: a mean of several has more."""
    return value.quantize(Decimal(1).scaleb(-plan.catalogue.quantities[quantity].decimals))


def compared_words(plan: Plan, values: tuple[Compared, ...]) -> Iterator[str]:
    """Yield the values of last time, and then each change that is unusual."""
    words = plan.catalogue
    each = [f"{plan.name(one.quantity)} {_number_said(plan, one.quantity, Decimal(one.last))}" for one in values]
    yield words.say("last-time", values=", ".join(each))
    for one in values:
        if one.unusual:
            now, was = (_shown(plan, one.quantity, Decimal(value)) for value in (one.now, one.last))
            saying = "drift-down" if now < was else "drift-up"
            value = _with_unit(plan, one.quantity, abs(now - was))
            yield words.say("drifted", what=words.say(saying, what=plan.name(one.quantity), value=value))


def _number_said(plan: Plan, quantity: str, value: Decimal) -> str:
    return _with_unit(plan, quantity, _shown(plan, quantity, value))


def _shown(plan: Plan, quantity: str, value: Decimal) -> Decimal:
    """Return a value as the instrument of today would show it."""
    known = plan.catalogue.quantities[quantity]
    own = shown_unit(known, plan.sheets.shows()) == known.unit
    return _rounded(plan, quantity, value) if own else plan.displayed(quantity, value)


def _with_unit(plan: Plan, quantity: str, value: Decimal) -> str:
    """Return a number as it is said, with its unit where that is not the quantity's own."""
    known = plan.catalogue.quantities[quantity]
    unit, digits = shown_unit(known, plan.sheets.shows()), plan.numbers.digits(value)
    return digits if unit == known.unit else f"{digits} {plan.catalogue.units[unit].said}"
