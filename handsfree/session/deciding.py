"""What decides whether a gate is asked, as the sheets and the answers of a visit have it."""

from __future__ import annotations

import random
from collections.abc import Iterator

from handsfree.events.state import State
from handsfree.gates.when import NOT_COME_TO, NOT_GIVEN, is_fact
from handsfree.procedure.branching import conditions, deciders, facts_with_choices, may_leave, may_open
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.session.plan import Plan
from handsfree.trades.sheets import Sheets


def known(plan: Plan, state: State, decider: str) -> str:
    """Return what is known of what decides, by its full name."""
    if is_fact(decider):
        return plan.sheets.chosen(decider) or NOT_GIVEN
    return state.outcomes.get(decider, NOT_COME_TO)


def against(plan: Plan, state: State, placed: PlacedGate) -> Iterator[tuple[str, str]]:
    """Yield each decider by which a gate is not asked, with what is known of it."""
    for decider, values in conditions(placed).items():
        is_now = known(plan, state, decider)
        if is_now not in values:
            yield decider, is_now


def possible(plan: Plan) -> frozenset[str]:
    """Return the gates that some visit with these sheets can ask or decide at, whatever is answered."""
    gates = plan.procedure.gates
    facts = {
        decider: plan.sheets.chosen(decider) or NOT_GIVEN
        for placed in gates.values()
        for decider in deciders(placed)
        if is_fact(decider)
    }
    seen, ahead, found = {plan.procedure.first}, [plan.procedure.first], set[str]()
    while ahead:
        placed = gates[ahead.pop()]
        if may_open(placed, facts):
            found.add(placed.id)
        for outcome, to in placed.transitions.items():
            if to in gates and to not in seen and may_leave(placed, outcome, facts):
                seen.add(to)
                ahead.append(to)
    return frozenset(found)


def invented(procedure: Procedure, sheets: Sheets, dice: random.Random) -> Sheets:
    """Return sheets on which each fact that decides is now and then another one of its choices.

    A fact whose choices its type does not tell stays: other facts of the sheets hang on it.
    """
    known = facts_with_choices(type(sheets))
    named = {one: None for placed in procedure.gates.values() for one in deciders(placed) if is_fact(one)}
    for fact in named:
        sheet, _, name = fact.partition(".")
        value = dice.choice(known[fact])
        if fact not in sheets.choices():
            written = getattr(sheets, sheet).model_copy(update={name: None if value == NOT_GIVEN else value})
            sheets = sheets.model_copy(update={sheet: written})
    return sheets
