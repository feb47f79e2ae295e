"""Values called out at one question: checked, read back, corrected, called a second time, accepted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from decimal import Decimal

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Called, Correction, Meaning, Values
from handsfree.procedure.model import Ask, ReadingsGate, TimedGate
from handsfree.procedure.phrases import Question, asks_of
from handsfree.procedure.procedure import Gate
from handsfree.session import events as ev
from handsfree.session.draft import Draft
from handsfree.session.situation import known_at, numeric, settled_together
from handsfree.session.stops import NO_READING, OVER_RANGE, stops_open
from handsfree.session.utterance import Utterance

Then = Callable[[Draft], None]


def record_of(draft: Draft, quantity: str, called: Called) -> ev.ReadingRecord:
    """Return a called value as it is recorded."""
    if isinstance(called, Decimal):
        return ev.ReadingRecord(**draft.plan.reading(quantity, called).to_record())
    unit = draft.plan.catalogue.quantities[quantity].unit
    return ev.ReadingRecord(quantity=quantity, value=called, unit=unit, resolution="1")


def spoken_value(draft: Draft, record: ev.ReadingRecord) -> str:
    """Return a recorded value as the tool says it."""
    if record.value in {OVER_RANGE, NO_READING}:
        return draft.words(record.value.replace(" ", "-"))
    return draft.plan.numbers.digits(Decimal(record.value))


def hear_values(draft: Draft, meaning: Meaning, utterance: Utterance, then: Then) -> bool:
    """Act on values, corrections and confirmations; `then` is called when all asked values are accepted."""
    kind, pending = draft.expected().kind, draft.state.pending
    if isinstance(meaning, Values):
        _rate_with_values(draft, meaning, utterance)
        if kind in {"once-more", "digits"}:
            _second_capture(draft, meaning, utterance, then)
        else:
            _first_capture(draft, dict(meaning.values), utterance)
        return True
    if isinstance(meaning, Correction) and pending.values:
        return _correct(draft, meaning, utterance)
    if kind == "read-back" and meaning == Answer("affirm"):
        beyond = bool(stops_open(draft.plan, pending.values))  # stopping needs no second hearing
        accept(draft, [q for q in pending.values if beyond or q not in pending.doubtful], "affirmed")
        next_value(draft, then)
        return True
    apart = draft.plan.trade.asked_apart
    if kind == "monoxide" and apart is not None and meaning in {Answer("affirm"), Answer("deny")}:
        quantity = apart.affirmed if meaning == Answer("affirm") else apart.denied
        draft.ask("which-value", draft.words("ask-for", what=draft.plan.name(quantity)), quantity)
        return True
    if kind in {"read-back", "once-more", "digits"} and meaning == Answer("deny"):
        if len(pending.values) == 1:
            quantity = next(iter(pending.values))
            draft.emit(ev.ReadingRefused(reading=pending.values[quantity], why="the person denied it"))
            ask_missing(draft)
        else:
            draft.ask("which-value", draft.words("wrong-which"))
        return True
    return False


def _rate_with_values(draft: Draft, meaning: Values, utterance: Utterance) -> None:
    """Take the rate called before or after the values; the wrong one counts, and a doubtful one not at all."""
    called = [rate for rate in (meaning.before, meaning.after) if rate is not None]
    rivals = [rival for rival in utterance.rivals if isinstance(rival, Values)]
    doubtful = any((rival.before, rival.after) != (meaning.before, meaning.after) for rival in rivals)
    if called and not doubtful:
        wrong = [rate for rate in called if rate != getattr(draft.placed.gate, "rate", None)]
        draft.emit(ev.RateCalled(rate=(wrong or called)[-1]))


def _asks(draft: Draft) -> Mapping[str, Ask]:
    return {ask.quantity: ask for ask in asks_of(draft.placed.gate)}


def _first_capture(draft: Draft, values: dict[str, Called], utterance: Utterance) -> None:
    """Check called values one by one and together, then read back those that may stand."""
    records = {quantity: record_of(draft, quantity, called) for quantity, called in values.items()}
    for quantity, record in records.items():
        why = _not_believed(draft, quantity, record)
        if why is not None:
            draft.emit(ev.ReadingRefused(reading=record, why=why))
            name, value = draft.plan.name(quantity), spoken_value(draft, record)
            draft.ask("once-more", draft.words("out-of-range", what=name, value=value), quantity)
            return
    together = {**draft.state.pending.values, **records}
    doubtful = _doubtful(draft, together, records, utterance)
    draft.emit(ev.ReadBack(values=tuple(together.values()), doubtful=doubtful))
    if _pair_refused(draft):
        return
    _read_back(draft)


def _read_back(draft: Draft) -> None:
    pending = draft.state.pending
    spoken = ". ".join(sentence_case(spoken_value(draft, record)) for record in pending.values.values())
    draft.ask("read-back", draft.words("taken", values=spoken))


def over_range(draft: Draft, meanings: Iterable[Meaning]) -> bool:
    """Stop at once when what the trade names was, or may have been, called over range; it needs no read-back."""
    at_once = draft.plan.trade.stops.over_range
    called = [one.values for one in meanings if isinstance(one, Values | Correction)]
    quantities = [q for values in called for q, value in values if q in at_once and value == OVER_RANGE]
    if not quantities:
        return False
    quantity = str(quantities[0])
    stop = stops_open(draft.plan, {quantity: record_of(draft, quantity, "over range")})[0]
    draft.stop(
        "limit", f"{stop.name} {stop.value}, {stop.limit}", draft.plan.catalogue.limits[stop.name], stop.source
    )
    return True


def _not_believed(draft: Draft, quantity: str, record: ev.ReadingRecord) -> str | None:
    """Say why a value is not believed; a value beyond a stop limit is always believed enough to be read back."""
    ask = _asks(draft).get(quantity)
    if ask is None:
        return "it was not asked for"
    if record.value in {OVER_RANGE, NO_READING}:
        return _must_be_a_number(draft.placed.gate)
    value = Decimal(record.value)
    decimals = draft.plan.catalogue.quantities[quantity].decimals if ask.decimals is None else ask.decimals
    if -int(value.as_tuple().exponent) < decimals:
        return f"the display shows {decimals} digits after the point"
    too_low = ask.low is not None and value < ask.low
    too_high = ask.high is not None and value > ask.high
    if not (too_low or too_high) or stops_open(draft.plan, {quantity: record}):
        return None
    return f"below {ask.low}" if too_low else f"above {ask.high}"


def _must_be_a_number(gate: Gate) -> str | None:
    """Say why a display without a number is no answer, where it is none: nothing could be put back to dashes."""
    if isinstance(gate, TimedGate):
        return "a volume is a number"
    return "a setting is a number" if isinstance(gate, ReadingsGate) and gate.captures is not None else None


def _doubtful(
    draft: Draft,
    together: Mapping[str, ev.ReadingRecord],
    fresh: Mapping[str, ev.ReadingRecord],
    utterance: Utterance,
) -> tuple[str, ...]:
    """Return the quantities that must be called a second time, whatever is answered to the read-back."""
    doubtful = set(draft.state.pending.doubtful)
    stops = stops_open(draft.plan, together)
    twice = draft.plan.trade.stops.called_twice
    for quantity, record in fresh.items():
        number = record.value not in {OVER_RANGE, NO_READING}
        beyond = bool(stops_open(draft.plan, {quantity: record})) or (bool(stops) and quantity in twice)
        if _in_doubt(utterance, quantity) or beyond or (number and _apart(draft, record, utterance)):
            doubtful.add(quantity)
    return tuple(quantity for quantity in together if quantity in doubtful)


def _in_doubt(utterance: Utterance, quantity: str) -> bool:
    """Say whether another value is near, or other speech likelier: a clear "confirmed" is then not enough.

    A slight doubt (no other value near) is settled by the read-back, but never by silence.
    """
    return bool(utterance.doubt) and not utterance.slight and utterance.in_doubt(quantity)


def _apart(draft: Draft, record: ev.ReadingRecord, utterance: Utterance) -> bool:
    """Say whether a number was called by a word with a twin that sounds alike (fifteen, fifty)."""
    number = record.value not in {OVER_RANGE, NO_READING}
    return (
        number
        and draft.plan.numbers.ask_apart(Decimal(record.value))
        and not draft.plan.numbers.twin_words.isdisjoint(utterance.words)
    )


def _pair_refused(draft: Draft) -> bool:
    """Ask tied quantities again when they cannot all be true; a second time they stand, marked.

    They are not marked when only sets called before their display had settled spoke against them.
    """
    plausibility, known = draft.plan.trade.plausibility, known_at(draft.plan, draft.state)
    judgement = plausibility.judged(known)
    if judgement is None or judgement.consistent:
        return False
    gate = draft.placed.gate
    assert isinstance(gate, ReadingsGate)
    if draft.state.pair_refused:
        surely = plausibility.consistent(replace(known, together=settled_together(draft.plan, draft.state)))
        if not surely.consistent:
            draft.emit(ev.PairDoubted(kept_at=gate.at, reason=surely.sentence))
        return False
    pending = draft.state.pending.values
    for quantity in judgement.quantities:
        if quantity in pending:
            draft.emit(ev.ReadingRefused(reading=pending[quantity], why=judgement.sentence, pair=True))
    if judgement.fits:
        draft.ask("pair", draft.words("pair-other-fuel", fuel=draft.plan.catalogue.fuels[judgement.fits[0]]))
    else:
        draft.ask("pair", draft.words("pair-not-true"))
    return True


def _correct(draft: Draft, meaning: Correction, utterance: Utterance) -> bool:
    """Replace a pending value by the corrected one and read it back."""
    quantity, called = meaning.values[0]
    pending = draft.state.pending.values
    if quantity is None:
        fitting = [
            q
            for q in pending
            if isinstance(called, Decimal) and _not_believed(draft, q, record_of(draft, q, called)) is None
        ]
        if len(fitting) != 1:
            draft.ask("which-value", draft.words("wrong-which"))
            return True
        quantity = fitting[0]
    now = record_of(draft, quantity, called)
    if quantity in pending:
        draft.emit(ev.ReadingCorrected(was=pending[quantity], now=now))
    together = {**draft.state.pending.values, quantity: now}
    doubtful = tuple(
        q
        for q in _doubtful(draft, together, {quantity: now}, utterance)
        if q != quantity or _in_doubt(utterance, q) or _apart(draft, now, utterance)
    )
    draft.emit(ev.ReadBack(values=tuple(together.values()), doubtful=doubtful))
    if not _pair_refused(draft):
        text = draft.words("correction", what=draft.plan.name(quantity), value=spoken_value(draft, now))
        draft.ask("read-back", text)
    return True


def accept(draft: Draft, quantities: list[str], how: str) -> None:
    """Accept pending values; a stop limit that they pass stops the visit."""
    gate = draft.placed.gate
    assert isinstance(gate, ReadingsGate | TimedGate)
    taken = draft.state.sets.get(gate.at, ())
    number = taken[-1].number if taken and not taken[-1].complete else len(taken) + 1
    for quantity in quantities:
        pending = draft.state.pending
        manner = "corrected" if quantity in pending.corrected and how == "affirmed" else how
        draft.emit(
            ev.ReadingAccepted(
                at=draft.at,
                gate=draft.state.gate,
                kept_at=gate.at,
                number=number,
                reading=pending.values[quantity],
                how=manner,
            )
        )


def next_value(draft: Draft, then: Then) -> None:
    """Go on after values were accepted: stop limits, then a second capture, then what is missing, then `then`."""
    gate = draft.placed.gate
    assert isinstance(gate, ReadingsGate | TimedGate)
    taken = draft.state.sets.get(gate.at, ())
    if taken and not taken[-1].complete:
        stops = stops_open(draft.plan, taken[-1].values, may_adjust=True)
        if stops:
            draft.stop_at_limit(stops[0])
            return
    if draft.state.pending.values:
        quantity, first = next(iter(draft.state.pending.values.items()))
        twin = first.value not in {OVER_RANGE, NO_READING} and draft.plan.numbers.ask_apart(Decimal(first.value))
        if twin:
            _ask_digits(draft, quantity)
        else:
            draft.ask("once-more", draft.words("once-more", what=draft.plan.name(quantity)), quantity)
        return
    if ask_missing(draft):
        return
    then(draft)


def ask_missing(draft: Draft) -> bool:
    """Ask for the first value that this set still lacks; False when it is whole."""
    gate = draft.placed.gate
    assert isinstance(gate, ReadingsGate | TimedGate)
    taken = draft.state.sets.get(gate.at, ())
    have = set(taken[-1].values) if taken and not taken[-1].complete else set()
    missing = [ask.quantity for ask in asks_of(gate) if ask.quantity not in have | set(draft.state.pending.values)]
    if not missing:
        return False
    draft.ask("which-value", draft.words("ask-for", what=draft.plan.name(missing[0])), missing[0])
    return True


MOST_DIGITS_ASKED = 3


def _ask_digits(draft: Draft, quantity: str) -> None:
    """Ask for a value digit by digit; when even that stays doubtful, point to the keys."""
    again = draft.expected() == Question("digits", quantity)
    attempt = draft.state.attempt + 1 if again else 1
    saying = "digit-by-digit" if attempt <= MOST_DIGITS_ASKED else "keys"
    draft.ask("digits", draft.words(saying, what=draft.plan.name(quantity)), quantity, attempt=attempt)


def _second_capture(draft: Draft, meaning: Values, utterance: Utterance, then: Then) -> None:
    """Compare an independent second call with the first: alike is accepted, different is read back anew.

    A second call in doubt itself, or by a word with a twin, proves nothing and is asked for digit by digit.
    """
    quantity, called = meaning.values[0]
    again = record_of(draft, quantity, called)
    if _apart(draft, again, utterance) or _in_doubt(utterance, quantity):
        _ask_digits(draft, quantity)
        return
    first = draft.state.pending.values.get(quantity)
    if first is not None and _alike(first, again, draft.plan.trade.flicker):
        rest = [record for record in draft.state.pending.values.values() if record.quantity != quantity]
        draft.emit(ev.ReadBack(values=(again, *rest), doubtful=draft.state.pending.doubtful))
        if draft.state.pair_refused:
            _pair_refused(draft)  # a doubt stands as before; nothing is refused a second time
        accept(draft, [quantity], "twice")
        next_value(draft, then)
        return
    why = _not_believed(draft, quantity, again)
    if why is not None:
        draft.emit(ev.ReadingRefused(reading=again, why=why))
        _ask_digits(draft, quantity)
        return
    together = {**draft.state.pending.values, quantity: again}
    doubtful = tuple(dict.fromkeys((*draft.state.pending.doubtful, quantity)))
    draft.emit(ev.ReadBack(values=tuple(together.values()), doubtful=doubtful))
    if not _pair_refused(draft):
        text = draft.words("correction", what=draft.plan.name(quantity), value=spoken_value(draft, again))
        draft.ask("read-back", draft.words("differs", what=text) if first is not None else text)


FLICKER_STEPS = 1
"""Steps between two calls of one live display, where the trade gives no room: common practice, no source."""


def _alike(first: ev.ReadingRecord, again: ev.ReadingRecord, flicker: Mapping[str, Decimal]) -> bool:
    """Say whether two calls can be the same display seconds apart."""
    if first.value == again.value or NO_READING in {first.value, again.value}:
        return first.value == again.value
    if first.resolution != again.resolution:
        return False
    room = flicker.get(first.quantity, FLICKER_STEPS * Decimal(first.resolution))
    return abs(Decimal(first.value) - Decimal(again.value)) <= room


def silence_after_read_back(draft: Draft, then: Then) -> None:
    """Accept only what physics has confirmed and no verdict hangs on; ask for everything else once more."""
    pending, plausibility = draft.state.pending, draft.plan.trade.plausibility
    tied = set(plausibility.tied)
    sure = not pending.unsure and tied <= set(numeric(pending.values)) and not tied & set(pending.doubtful)
    judgement = plausibility.judged(known_at(draft.plan, draft.state)) if sure else None
    if judgement is not None and judgement.consistent and not judgement.near_limit:
        accept(draft, list(judgement.quantities), "silence")
    next_value(draft, then)
