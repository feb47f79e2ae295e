"""A row of an instrument that came: kept as a witness; where it alone passes a limit, that value is asked for."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.questions.which_value import WhichValue
from handsfree.session.draft import Draft
from handsfree.session.stops import decides_a_stop
from handsfree.session.witness import as_said, called_so_far, passes, records_of


def row_came(draft: Draft, row: inp.InstrumentRow) -> None:
    """Ask at once for a value that the instrument alone shows beyond a limit; elsewhere say what it shows.

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
    """Ask for the value where the gate asks for it; elsewhere tell a stop limit, and ask again what was asked."""
    state, quantity = draft.state, shown.quantity
    called = called_so_far(draft.plan, state).get(quantity)
    here = quantity in {ask.quantity for ask in draft.gate.effects.asks} and state.question.manner.asker == "gate"
    if not here and not decides_a_stop(draft.plan, quantity, beside):
        return
    compared = ev.InstrumentCompared(
        at=draft.at,
        gate=state.gate,
        reading=called if here else None,
        shown=shown,
        age_ms=draft.at - row.taken,
        room="",
        agrees=False,
        asks=here,
    )
    draft.emit(compared)
    what, says = draft.name(quantity), as_said(draft.plan, shown, called)
    if not here:
        draft.say("instrument-beyond", what=what, shown=says)
        draft.ask_over()
        return
    if quantity in state.pending.values:
        draft.emit(ev.ReadingRefused(reading=state.pending.values[quantity], why="the instrument passed a limit"))
    draft.ask(WhichValue(quantity=quantity), draft.words("instrument-asks", what=what, shown=says))
