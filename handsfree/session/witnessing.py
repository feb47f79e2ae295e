"""A row of an instrument that came: kept as a witness; where it alone passes a limit, that value is asked for."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.value import spoken_value
from handsfree.gates.visit import Understanding
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Meaning, Values
from handsfree.questions.instrument_asks import InstrumentAsks
from handsfree.questions.which_value import WhichValue
from handsfree.session.draft import Draft
from handsfree.session.stops import decides_a_stop
from handsfree.session.witness import as_said, called_so_far, compared, opened, passes, records_of, shown_near

_MAY_BE_ASKED = frozenset({"gate", "need", "putting-back"})
"""Whose questions it interrupts. A screw that is being turned takes hands and eyes: there it is told alone."""


def row_came(draft: Draft, row: inp.InstrumentRow) -> None:
    """Ask at once for a value that the instrument alone shows beyond a limit: a stop limit at every gate.

    Once for each quantity and set: what is then called stands. A value called beyond a limit is on its way to the
    stop, which no row holds up.
    """
    if draft.state.status != "running" or draft.state.held_since is not None or draft.state.consent_due:
        return
    records, said = records_of(draft.plan, row), called_so_far(draft.plan, draft.state)
    for quantity, shown in records.items():
        told = quantity in draft.state.pending.contested or passes(draft.plan, quantity, said)
        if not told and passes(draft.plan, quantity, records):
            _alone(draft, row, shown, records)
            return


def _alone(
    draft: Draft, row: inp.InstrumentRow, shown: ev.ReadingRecord, beside: Mapping[str, ev.ReadingRecord]
) -> None:
    """Ask for the value; where the gate does not want it, only beyond a stop limit."""
    state, quantity = draft.state, shown.quantity
    called = called_so_far(draft.plan, state).get(quantity)
    asker = state.question.manner.asker
    here = asker == "gate" and quantity in {ask.quantity for ask in draft.gate.effects.asks}
    if not here and not decides_a_stop(draft.plan, quantity, beside):
        return
    asks = here or asker in _MAY_BE_ASKED
    draft.emit(
        ev.InstrumentCompared(
            at=draft.at,
            gate=state.gate,
            reading=called if here else None,
            shown=shown,
            age_ms=draft.at - row.taken,
            room="",
            agrees=False,
            asks=asks,
        )
    )
    what, says = draft.name(quantity), as_said(draft.plan, shown, called)
    if not asks:
        draft.say("instrument-beyond", what=what, shown=says)
        draft.ask_over()
        return
    if quantity in state.pending.values:
        draft.emit(ev.ReadingRefused(reading=state.pending.values[quantity], why="the instrument passed a limit"))
    question = WhichValue(quantity=quantity) if here else InstrumentAsks(quantity=quantity)
    draft.ask(question, draft.words("instrument-asks", what=what, shown=says))


def hear(draft: Draft, meaning: Meaning, utterance: Understanding) -> bool:
    """Take the value that was asked for: beyond a stop limit it stops the work, else the question before goes on.

    Two witnesses are then beyond the limit, so it stops at the first hearing. A doubtful call within it is asked
    again. What the gate keeps is untouched: it did not want the value.
    """
    question, back = draft.state.question, draft.state.interrupted
    if not isinstance(question, InstrumentAsks) or not isinstance(meaning, Values) or back is None:
        return False
    value = dict(meaning.values).get(question.quantity)
    if value is None:
        draft.ask_again()
        return True
    reading = draft.record_of(question.quantity, value)
    beside = shown_near(draft.plan, draft.state, question.quantity, utterance.onset)
    stops = opened(draft.plan, reading, beside)
    if utterance.doubt and not stops:
        draft.ask(question, draft.words("once-more", what=draft.name(question.quantity)))
        return True
    found = compared(draft.plan, draft.state, reading, utterance.onset)
    if found is not None:
        draft.emit(found)
    if stops:
        draft.stop_at(stops[0], {question.quantity: reading})
        return True
    draft.say("taken", values=sentence_case(f"{draft.name(question.quantity)} {spoken_value(draft, reading)}"))
    draft.ask_interrupted(back)
    return True
