"""More time for the work at hand: a little at a go while something fires, never where nobody may look away."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.events.state import ReadingSet, State
from handsfree.lexicon.catalogue import sentence_case
from handsfree.session.draft import Draft
from handsfree.session.plan import Plan
from handsfree.session.situation import numeric
from handsfree.session.stops import stops_open

AT_A_GO_MS = 180_000
"""So much more time is given at once: common practice, no source."""


def more_time(draft: Draft) -> None:
    """Give more time and read it back; where something fires, refuse it while nobody may look away."""
    if draft.state.question.manner.awaits != "answer" and draft.state.held_since is None:
        draft.ask_again()
        return
    why = _nobody_may_look_away(draft) if draft.gate.firing else ""
    if why:
        draft.say("no-more-time", why=why)
        return
    draft.emit(ev.MoreTime(at=draft.at, gate=draft.state.gate, until=draft.at + AT_A_GO_MS))
    draft.say("more-time-firing" if draft.gate.firing else "more-time")


def _nobody_may_look_away(draft: Draft) -> str:
    """Return what must be watched now, as it is said; "" when nothing must."""
    plan, state = draft.plan, draft.state
    for name in state.altered:
        thing = plan.things[name]
        if thing.attended:
            return f"{sentence_case(thing.said)} {thing.altered}."
    rising = _rising(plan, state)
    if rising is not None:
        return f"{sentence_case(draft.name(rising))} {draft.words('rising')}."
    passed = stops_open(plan, _last_read(state), may_adjust=False)
    return plan.catalogue.limits.get(passed[0].name, passed[0].name) if passed else ""


def _last_read(state: State) -> Mapping[str, ev.ReadingRecord]:
    """Return the values read last, with those just called."""
    newest = _newest(state)
    return {**(newest[-1].values if newest else {}), **state.pending.values}


def _newest(state: State) -> tuple[ReadingSet, ...]:
    """Return the sets of the place that was read last."""
    return max((taken for taken in state.sets.values() if taken), key=lambda taken: taken[-1].at, default=())


def _rising(plan: Plan, state: State) -> str | None:
    """Return a watched quantity that was higher in the last set than in the one before."""
    sets = [numeric(one.values) for one in _newest(state)[-2:]]
    if len(sets) == 2:
        for quantity in plan.trade.stops.rising:
            before, after = (one[quantity].value if quantity in one else Decimal(0) for one in sets)
            if quantity in sets[0] and after > before:
                return quantity
    return None
