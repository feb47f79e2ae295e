"""What the visit knows when a value is called, in the shape that a trade's check of plausibility takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from handsfree.events.decisions import ReadingRecord
from handsfree.events.state import State
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE
from handsfree.measurement.reading import Reading
from handsfree.session.plan import Plan
from handsfree.trades.plausibility import Known


def numeric(values: Mapping[str, ReadingRecord]) -> dict[str, Reading]:
    """Return the values that are numbers, as readings."""
    return {
        quantity: record.reading
        for quantity, record in values.items()
        if record.value not in {OVER_RANGE, NO_READING}
    }


def _begun(state: State, kept_at: str) -> Mapping[str, ReadingRecord]:
    """Return what is already accepted of the set being called."""
    sets = state.sets.get(kept_at, ())
    return sets[-1].values if sets and not sets[-1].complete else {}


Together = tuple[Mapping[str, Decimal], ...]


def _accepted_together(plan: Plan, state: State) -> Together:
    """Return the tied quantities of every whole set that is not doubted."""
    tied = plan.trade.plausibility.tied
    sets = (one for kept in state.sets.values() for one in kept if one.complete and not one.doubted)
    of_tied = ({name: each.values[name] for name in tied if name in each.values} for each in sets)
    read = ({name: one.value for name, one in numeric(each).items()} for each in of_tied)
    return _whole(plan, read)


def settled_together(plan: Plan, state: State) -> Together:
    """Return the tied quantities of every place that has settled on sets not doubted.

    While a display moves, its cells differ by how fast they are: what accepted sets teach of the instrument may
    then be wrong. It is enough to have a set called again, and not to call one untrue that came twice.
    """
    points = (settled for kept_at, settled in state.settled.items() if not state.doubted(kept_at))
    read = ({quantity: Decimal(one.reading.value) for quantity, one in each.items()} for each in points)
    return _whole(plan, read)


def _since_change(state: State) -> Mapping[str, Reading]:
    """Return the newest number of each quantity whose set was taken since anything was changed."""
    kept = (one for each in state.sets.values() for one in each if one.complete and one.at >= state.last_change)
    found: dict[str, Reading] = {}
    for one in sorted(kept, key=lambda taken: taken.at):
        found |= numeric(one.values)
    return found


def _whole(plan: Plan, read: Iterable[Mapping[str, Decimal]]) -> Together:
    tied = plan.trade.plausibility.tied
    return tuple({one: values[one] for one in tied} for values in read if tied and set(tied) <= set(values))


def known_at(plan: Plan, state: State) -> Known:
    """Return what is known at the gate at hand."""
    effects = plan.gate(state.gate).gate.effects
    kept_at = effects.kept_at
    taken = state.readings(kept_at)
    return Known(
        sheets=plan.sheets,
        rate=effects.rate,
        this_set=numeric({**_begun(state, kept_at), **state.pending.values}),
        previous_set=numeric(taken[-1].values) if taken else {},
        since_change=_since_change(state),
        together=_accepted_together(plan, state),
    )
