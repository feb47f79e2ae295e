"""How a visit was stopped or ended, and what it leaves altered, in the words that a screen shows. Pure."""

from __future__ import annotations

from handsfree.events.decisions import Stopped, at_its_end
from handsfree.events.state import State
from handsfree.glance.picture import LabelledLine
from handsfree.lexicon.catalogue import sentence_case
from handsfree.session.plan import Plan

MINUTE_MS = 60_000


def ended(plan: Plan, state: State) -> str:
    """Return how the visit ended: with what it lacks, or with what is still altered."""
    if at_its_end(state.outcome):
        lacking = "; ".join(f"{one.what}, {one.why}" for one in state.lacking)
        return plan.catalogue.show(state.outcome, what=lacking)
    left = plan.catalogue.show("still-altered", count=str(len(state.altered)))
    return plan.catalogue.show("closed", left=left if state.altered else _nothing_altered(plan))


def why(plan: Plan, stopped: Stopped) -> str:
    """Return why it was stopped, in the words of a person: a hazard by its phrase, all else by its detail."""
    hazard = plan.catalogue.hazards.get(stopped.why)
    if hazard is not None:
        return f"{sentence_case(plan.catalogue.as_shown(hazard.heard[0]))}: {stopped.detail}"
    return plan.catalogue.limit_passed(stopped.detail) if stopped.why == "limit" else stopped.detail


def altered(plan: Plan, state: State, now: int) -> LabelledLine:
    """Return everything that is still altered with the minutes since, by its state, the latest first."""
    label = plan.catalogue.show("altered")
    if not state.altered:
        return LabelledLine(label, _nothing_altered(plan))
    by_state: dict[str, list[str]] = {}
    for name in reversed(list(state.altered)):
        thing = plan.things[name]
        minutes = str(max(0, now - state.altered_at.get(name, now)) // MINUTE_MS)
        text = plan.catalogue.show("altered-thing", thing=thing.said, minutes=minutes)
        by_state.setdefault(thing.altered, []).append(text)
    groups = (
        plan.catalogue.show("altered-state", state=one, things=", ".join(texts)) for one, texts in by_state.items()
    )
    return LabelledLine(label, f"{len(state.altered)}  " + "; ".join(groups))


def _nothing_altered(plan: Plan) -> str:
    return plan.catalogue.say("nothing-altered")
