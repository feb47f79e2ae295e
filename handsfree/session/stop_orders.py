"""What is ordered at a stop, how the visit may go on from it, and what each step after it asks."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.events import decisions as ev
from handsfree.events.state import Halt, State
from handsfree.lexicon.catalogue import sentence_case
from handsfree.questions import Question
from handsfree.questions.stop_reading import StopReading
from handsfree.questions.stop_step import StopStep
from handsfree.questions.stop_talk import StopTalk
from handsfree.questions.stop_thing import StopThing
from handsfree.questions.stopped import Way
from handsfree.session.plan import Plan


@dataclass(frozen=True)
class StopCause:
    """Why the work stops: as the record tells it, and what a bare cry may take back."""

    why: str
    detail: str
    script: str
    """The order, action first."""
    source: str
    by: ev.StoppedBy
    hazard: str
    """The trade's stop."""
    undoable: bool
    called: tuple[ev.ReadingRecord, ...] = ()
    """The values that passed a limit."""


def order(plan: Plan, state: State, cause: StopCause) -> ev.Stopped:
    """Return the stop with the order to speak.

    Where an order is in force already, the graver of the two is spoken; who was told to leave leaves. It is in
    force until the steps back in are begun, and again once one of them was refused.
    """
    facts, before, name = plan.catalogue.stops, state.halt, cause.hazard
    in_force = before if before is not None and (before.part in {None, "outside"} or _refused(before)) else None
    standing = () if in_force is None else in_force.hazards
    graver = facts.gravest_first({name, *standing})[0] != name
    leave = any(facts.stops[one].people == "leave" for one in (name, *standing))
    hazards = facts.gravest_first({name, *(() if before is None else before.hazards)})
    return ev.Stopped(
        at=state.now,
        gate=state.gate,
        why=cause.why,
        detail=cause.detail,
        script=in_force.script if graver and in_force is not None else cause.script,
        source=cause.source,
        still_altered=tuple(state.altered),
        by=cause.by,
        hazards=hazards,
        people="leave" if leave else "stay",
        called=cause.called,
        ways=_ways_on(plan, state, hazards, cause),
    )


def _refused(halt: Halt) -> bool:
    """Say whether a way back in was refused: only the way down is left, and what sent people out may be there."""
    return halt.people == "leave" and halt.part == "re-entry" and halt.ways == ("close",)


def _ways_on(plan: Plan, state: State, hazards: tuple[str, ...], cause: StopCause) -> tuple[Way, ...]:
    """Return how the visit may go on after a stop.

    What was typed, written or met by silence was not misheard; nor is a second stop at the gate. What may
    happen once in a visit only leads down the second time.
    """
    facts = plan.catalogue.stops
    heard = cause.by in {"voice", "values"} and state.halt is None and state.gate not in state.misheard_at
    twice = any(facts.stops[one].once and one in state.stopped_by for one in hazards)
    open_ways: dict[Way, bool] = {
        "false-stop": cause.undoable,
        "misheard": heard,
        "put-right": not twice,
        "close": True,
    }
    return tuple(way for way, is_open in open_ways.items() if is_open)


def way_down(plan: Plan, state: State) -> tuple[str, ...]:
    """Return what is asked when the work is left off: what was switched off and put back, and who was told."""
    halt, facts = state.halt, plan.catalogue.stops
    assert halt is not None
    things = plan.put_back_when_stopped(state.altered)
    outside = tuple(one for one in halt.hazards if facts.stops[one].people == "leave")
    hazards = outside if halt.people == "leave" else halt.hazards  # who left touches nothing inside
    return tuple(step for step in facts.way_down(hazards) if things or not facts.steps[step].things)


def question_of_step(plan: Plan, state: State) -> tuple[Question, str]:
    """Return the question of the step at hand of those that are walked after a stop, and its text."""
    halt = state.halt
    assert halt is not None
    name = halt.left[0]
    step, words = plan.catalogue.stops.steps[name], plan.catalogue.steps[name]
    quantity = halt.called[len(halt.read)] if step.as_called else step.quantity
    if step.told:
        return StopTalk(step=name), words.prompt
    if step.things:
        thing = plan.things[halt.things[0]]
        said, states = sentence_case(thing.said), {"restored": thing.restored, "altered": thing.altered}
        return StopThing(step=name, thing=halt.things[0]), words.prompt.format(thing=said, **states)
    if quantity is not None:
        what = sentence_case(plan.name(quantity))
        return StopReading(step=name, quantity=quantity), words.prompt.format(what=what)
    return StopStep(step=name), words.prompt
