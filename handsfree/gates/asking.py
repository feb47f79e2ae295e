"""What can be asked at a gate: by the gate itself, and by the conversations that a visit has anywhere."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from handsfree.gates import Gate
from handsfree.lexicon.catalogue import Catalogue
from handsfree.questions import Question
from handsfree.questions.ask import Thing
from handsfree.questions.close_check import CloseCheck
from handsfree.questions.instrument_asks import InstrumentAsks
from handsfree.questions.keep_sound import KeepSound
from handsfree.questions.kind import Scope
from handsfree.questions.note import Note
from handsfree.questions.nothing import Nothing
from handsfree.questions.outside import Outside
from handsfree.questions.put_back import PutBack
from handsfree.questions.rate import CallRate
from handsfree.questions.recheck_thing import RecheckThing
from handsfree.questions.still_firing import StillFiring
from handsfree.questions.stop_reading import StopReading
from handsfree.questions.stop_step import StopStep
from handsfree.questions.stop_talk import StopTalk
from handsfree.questions.stop_thing import StopThing
from handsfree.questions.stopped import WAYS, AfterStop
from handsfree.questions.thing_check import ThingCheck
from handsfree.questions.thing_first import ThingFirst
from handsfree.questions.turn import Turn
from handsfree.questions.turn_check import TurnCheck
from handsfree.questions.turn_watch import TurnWatch
from handsfree.questions.waiting import Waiting
from handsfree.questions.which_screw import WhichScrew
from handsfree.trades.trade import Trade


def scope_of(
    gate: Gate, things: Mapping[str, Thing], catalogue: Catalogue, trade: Trade, *, adjusts: bool
) -> Scope:
    """Return what a question may look at at a gate; `adjusts`: somewhere in the procedure something is turned."""
    effects, apart = gate.effects, trade.asked_apart
    alike = None if apart is None else (apart.affirmed, apart.denied)
    return Scope(
        catalogue,
        things,
        gate.phrases,
        effects.ordinary,
        effects.matches,
        effects.asks,
        effects.rate,
        alike,
        trade.plausibility.tied,
        adjusts,
        trade.adjusting.watched,
        tuple(sorted(trade.stops.guarded)),
        photo=bool(gate.photo),
    )


def asks_of_turns(gate: Gate) -> bool:
    """Say whether a turn that was left open is asked for before this gate: not while somebody may have to leave.

    A stop or a break may come between a turn and its call. It is told before anything fires again, or the end.
    """
    return gate.firing or gate.effects.turns is not None or gate.effects.end == "finish"


def turn_questions(scope: Scope) -> tuple[Question, ...]:
    """Return every question about a turn, where the procedure adjusts anything."""
    if not scope.adjusts:
        return ()
    watch = (TurnWatch(quantity=scope.watched),) if scope.watched else ()
    checks = (TurnCheck(direction="clockwise", eighths=1), TurnCheck(direction="counter-clockwise", eighths=1))
    return (Turn(), *checks, *watch, WhichScrew())


def questions_at(gate: Gate, scope: Scope) -> tuple[Question, ...]:
    """Return every question that a visit can ask while it stands at a gate."""
    needed = [
        question
        for name in gate.needs
        for question in (ThingFirst(thing=name), PutBack(thing=name), ThingCheck(thing=name))
    ]
    turns = turn_questions(scope) if asks_of_turns(gate) else ()
    firing = (StillFiring(),) if gate.firing else ()
    rate = (CallRate(recheck=True),) if gate.effects.rate else ()
    things = (RecheckThing(thing=name) for name in scope.things)
    after = (Outside(), AfterStop(ways=WAYS), *_after_stops(scope), CloseCheck())
    sayable = (quantity for quantity in scope.guarded if quantity in scope.catalogue.quantities)  # in its language
    shown = (InstrumentAsks(quantity=quantity) for quantity in sayable)
    anywhere = (KeepSound(), Note(), *shown, Waiting(), Nothing(), *after)
    return (*needed, *gate.questions(scope), *turns, *firing, *rate, *things, *anywhere)


def _after_stops(scope: Scope) -> Iterator[Question]:
    """Yield the question of each step that the trade walks after a stop."""
    for name, step in scope.catalogue.stops.steps.items():
        if step.told:
            yield StopTalk(step=name)
        elif step.things:
            put_back = (thing for thing, known in scope.things.items() if known.put_back_when_stopped)
            yield from (StopThing(step=name, thing=thing) for thing in put_back)
        elif step.as_called:
            yield from (StopReading(step=name, quantity=ask.quantity) for ask in scope.asks)
        elif step.quantity is not None:
            yield StopReading(step=name, quantity=step.quantity)
        else:
            yield StopStep(step=name)
