"""What can be answered with a glove: at each moment of a visit, what each key gives.

Only space, enter, the arrows and digits are used. Enter alone says the plain answer where there is one and
nothing can go wrong by it; anything else is first chosen with an arrow, so that a bumped key or a foot switch
can neither pick among answers nor say that a thing is put back. What a question itself gives, its own module says.
Hazards stand below everything, the gravest last: from no mark one press up leads to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from handsfree.events.state import State
from handsfree.gates.outcomes import DROPPED_BACK, NOT_DONE
from handsfree.lexicon.meaning import CommandName
from handsfree.questions.keypad import Keypad, Offer, offered
from handsfree.session.photos import wanted
from handsfree.session.plan import Plan


def keypad(plan: Plan, state: State) -> Keypad:
    """Return what the keys give now: those of the question, then what can be said at any moment."""
    if state.status == "closed" or state.gate not in plan.procedure.gates:
        return Keypad()
    if state.held_since is not None and state.status == "running":
        return Keypad(offers=(*_commands(plan, "carry-on"), *_dropped_back(plan, state), *_hazards(plan)))
    own = state.question.keys(plan.scope(state.gate))
    if state.status == "stopped":
        return replace(own, offers=(*own.offers, *_hazards(plan)))
    anywhere = (*_dropped_back(plan, state), *_anywhere(plan, state))
    return replace(own, offers=(*own.offers, *anywhere, *own.last, *_hazards(plan)))


def hazards(plan: Plan) -> tuple[str, ...]:
    """Return the hazards that keys can call at any moment, the gravest last; a stop has a key of its own."""
    known = plan.catalogue.hazards
    return tuple(name for name in reversed(plan.catalogue.stops.stops) if name in known and name != "stop-work")


def called(plan: Plan, hazard: str) -> str:
    """Return the words that call a hazard."""
    return plan.catalogue.hazards[hazard].heard[0]


def _hazards(plan: Plan) -> Iterator[Offer]:
    for name in hazards(plan):
        words = called(plan, name)
        yield Offer(plan.catalogue.as_shown(words), words)


def _dropped_back(plan: Plan, state: State) -> tuple[Offer, ...]:
    if DROPPED_BACK not in plan.gate(state.gate).transitions:
        return ()
    return offered(plan.catalogue.answers["dropped-back"][:1])


def _anywhere(plan: Plan, state: State) -> Iterator[Offer]:
    """Yield what can be said at any moment; over range of what stops the work first, where anything fires."""
    placed = plan.gate(state.gate)
    if placed.gate.firing:
        beyond = plan.catalogue.answers["over-range"][0]
        for quantity in plan.catalogue.over_range[:1]:
            name = plan.catalogue.quantities[quantity].heard[0]
            yield Offer(f"{plan.name(quantity)} {beyond}", f"{name} {beyond}")
    yield from _commands(plan, "repeat", "hold-on", "more-time", "what-is-left", "where-am-i")
    if state.rechecks:
        return
    if placed.gate.effects.kept_at:
        yield from _commands(plan, "that-was-wrong")
    yield from _commands(plan, "go-back")
    if state.gate in wanted(plan, state) and state.gate not in state.photos:
        yield from _without(plan, "no-photo", plan.catalogue.glance.no_photo)
    if NOT_DONE in placed.transitions:
        yield from _without(plan, "not-done", plan.catalogue.glance.not_done)


def _without(plan: Plan, name: CommandName, reasons: Iterable[str]) -> tuple[Offer, ...]:
    return offered(f"{plan.catalogue.everywhere[name][0]} {reason}" for reason in reasons)


def _commands(plan: Plan, *names: CommandName) -> tuple[Offer, ...]:
    return offered(plan.catalogue.everywhere[name][0] for name in names)
