"""Which called values are unusual: outside the maker's range, or what is usual, or out of relation to others.

Nothing is refused here. What is found is asked about; a second yes keeps the value, and the record its reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from handsfree.events.state import State
from handsfree.gates.value import spoken_value
from handsfree.gates.visit import Unusual, Visit
from handsfree.session.plan import Plan
from handsfree.session.situation import known_at, numeric
from handsfree.session.stops import stops_open
from handsfree.trades.sheets import outside


def unusual(plan: Plan, state: State, visit: Visit, quantities: tuple[str, ...]) -> tuple[Unusual, ...]:
    """Return what of some pending values is unusual; nothing while a stop limit is passed: the stop is first.

    Where the maker gives a range, that is held against a value, else what is usual.
    """
    pending = state.pending.values
    if stops_open(plan, pending):
        return ()
    called = {name: one.value for name, one in numeric(pending).items() if name in quantities}
    return (*_outside(plan, visit, called), *_out_of_relation(plan, state, visit, called))


def _outside(plan: Plan, visit: Visit, called: Mapping[str, Decimal]) -> Iterator[Unusual]:
    makers = plan.sheets.ranges()
    for name, value in called.items():
        maker, expected = makers.get(name), plan.procedure.trade.quantities[name].expected
        if maker is not None:
            low, high, source, saying = (
                maker.low,
                maker.high,
                plan.sheets.appliance.source(maker.page),
                "not-makers",
            )
        elif expected is not None:
            low, high, source, saying = expected.low, expected.high, expected.source, "unusual"
        else:
            continue
        side = outside(value, low, high)
        if side:
            what = f"{visit.name(name)} {spoken_value(visit, visit.state.pending.values[name])}"
            yield Unusual((name,), f"{side} ({source})", visit.words(saying, what=what))


def _out_of_relation(plan: Plan, state: State, visit: Visit, called: Mapping[str, Decimal]) -> Iterator[Unusual]:
    known = known_at(plan, state)
    values = {name: one.value for name, one in {**known.since_change, **known.this_set}.items()}
    for name, relation in plan.procedure.trade.relations.items():
        involved = tuple(one for one in relation.quantities if one in called)
        if involved and set(relation.quantities) <= set(values) and not relation.holds(values):
            text = visit.words("unusual", what=plan.catalogue.relations[name])
            yield Unusual(involved, relation.told(values), text)
