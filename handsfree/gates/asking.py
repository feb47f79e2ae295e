"""What can be asked at a gate: by the gate itself, and by the conversations that a visit has anywhere."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.gates import Gate
from handsfree.lexicon.catalogue import Catalogue
from handsfree.questions import Question
from handsfree.questions.ask import Thing
from handsfree.questions.cleared_check import ClearedCheck
from handsfree.questions.close_check import CloseCheck
from handsfree.questions.kind import Scope
from handsfree.questions.note import Note
from handsfree.questions.nothing import Nothing
from handsfree.questions.put_back import PutBack
from handsfree.questions.rate import Rate
from handsfree.questions.recheck_thing import RecheckThing
from handsfree.questions.still_firing import StillFiring
from handsfree.questions.stopped import Stopped
from handsfree.questions.thing_check import ThingCheck
from handsfree.questions.thing_first import ThingFirst
from handsfree.questions.waiting import Waiting
from handsfree.trades.trade import Trade


def scope_of(gate: Gate, things: Mapping[str, Thing], catalogue: Catalogue, trade: Trade) -> Scope:
    """Return what a question may look at when it is asked at a gate."""
    effects, apart = gate.effects, trade.asked_apart
    alike = None if apart is None else (apart.affirmed, apart.denied)
    return Scope(
        catalogue,
        things,
        gate.phrases,
        effects.ordinary,
        effects.asks,
        effects.rate,
        alike,
        trade.plausibility.tied,
    )


def questions_at(gate: Gate, scope: Scope) -> tuple[Question, ...]:
    """Return every question that a visit can ask while it stands at a gate."""
    needed = [
        question
        for name in gate.needs
        for question in (ThingFirst(thing=name), PutBack(thing=name), ThingCheck(thing=name))
    ]
    firing = (StillFiring(),) if gate.firing else ()
    rate = (Rate(recheck=True),) if gate.effects.rate else ()
    things = (RecheckThing(thing=name) for name in scope.things)
    anywhere = (Note(), Waiting(), Nothing(), Stopped(), ClearedCheck(), CloseCheck())
    return (*needed, *gate.questions(scope), *firing, *rate, *things, *anywhere)
