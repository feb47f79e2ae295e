"""What was turned: called, challenged when it is not what was asked for, watched, undone. Never lost.

A turn may have been made from the moment it was advised. So it is asked for until it is told, also when a stop
or a break came between; and one that was not as advised is undone before anything else is done while it fires.
"""

from __future__ import annotations

from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.events.state import OpenTurn
from handsfree.gates.outcomes import DONE
from handsfree.gates.value import spoken_value
from handsfree.gates.visit import Understanding
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import NO_READING, Answer, Meaning, TurnMade, Values
from handsfree.questions.turn import Turn
from handsfree.questions.turn_check import TurnCheck
from handsfree.questions.turn_watch import TurnWatch
from handsfree.questions.which_screw import WhichScrew
from handsfree.session.advising import other_screw, undoing, unlike
from handsfree.session.draft import Draft

MOST_CALLS = 3
"""A turn called so often, never as asked for and never twice the same, is taken as it was called last."""


def hear(draft: Draft, meaning: Meaning, utterance: Understanding) -> bool:
    """Act on an answer about the turn that is open; False when it is none."""
    turn, question = draft.state.turn, draft.state.question
    if turn is None:
        return False
    match question, meaning:
        case Turn() | TurnCheck(), TurnMade():
            _called(draft, turn, meaning, utterance)
        case Turn() | TurnCheck(), Answer("other-screw"):
            _name_screw(draft, other_screw(draft.plan, turn))
            _challenge(draft, "turn-called" if turn.called is None else "turn-again")
        case TurnCheck(), Answer("affirm"):
            _counts(draft, turn, question.direction, question.eighths)
        case TurnCheck(), Answer("deny"):
            draft.ask_of_turn()
        case TurnWatch(), Values():
            _watched(draft, turn, question.quantity, meaning, utterance)
        case WhichScrew(), Answer(name):
            _name_screw(draft, other_screw(draft.plan, turn) if name == "other-screw" else name)
            draft.ask_of_turn()
        case _:
            return False
    return True


def watch_again(draft: Draft, quantity: str) -> None:
    """Ask again for a value that was called wrong; any other stays, until the turn is told."""
    watched = draft.plan.trade.adjusting.watched
    turn = draft.state.turn
    if turn is not None and turn.owed and quantity == watched:
        draft.ask(TurnWatch(quantity=watched), draft.words("ask-for", what=draft.name(watched)))
    else:
        draft.ask_of_turn()


def _called(draft: Draft, turn: OpenTurn, made: TurnMade, utterance: Understanding) -> None:
    """Read back what is within what was asked for; anything else is said again, and the same again counts."""
    direction, eighths = made.direction or _asked_of(turn)[0], made.eighths
    differs = unlike(draft.plan, turn, direction, eighths)
    again = turn.challenged > 0 and turn.called == (direction, eighths) and not utterance.doubt
    if differs:
        called = ev.TurnCalled(
            at=draft.at, gate=draft.state.gate, direction=direction, eighths=eighths, unlike=differs
        )
        draft.emit(called)
    if differs and not eighths:
        _refused(draft, turn)
    elif differs and (again or turn.challenged + 1 >= MOST_CALLS):
        _counts(draft, turn, direction, eighths, differs=differs)
    elif differs or (turn.owed and utterance.doubt):
        _challenge(draft)
    elif turn.owed:
        _counts(draft, turn, direction, eighths, undoes=True)
    else:
        far = draft.catalogue.far(eighths)
        text = draft.words("turn-read-back", direction=draft.words(direction), turn=far) if eighths else f"{far}."
        draft.ask(TurnCheck(direction=direction, eighths=eighths), sentence_case(text))


def _refused(draft: Draft, turn: OpenTurn) -> None:
    """Ask for the undoing once more; not undone then, nothing may fire any longer."""
    if turn.unanswered:
        _stop(draft, "turn-not-undone", "what was turned was not undone")
    else:
        draft.ask_of_turn()


def _asked_of(turn: OpenTurn) -> tuple[ev.Direction, int]:
    """Return what is asked for: the undoing, or the turn advised."""
    return undoing(turn) if turn.owed else (turn.direction, turn.eighths)


def _challenge(draft: Draft, saying: str = "turn-again") -> None:
    turn = draft.state.turn
    assert turn is not None
    direction, eighths = _asked_of(turn)
    draft.ask(Turn(direction=direction, eighths=eighths), draft.words(saying))


def _name_screw(draft: Draft, rate: str) -> None:
    draft.emit(ev.ScrewNamed(at=draft.at, gate=draft.state.gate, rate=rate))


def _counts(
    draft: Draft, turn: OpenTurn, direction: ev.Direction, eighths: int, *, differs: str = "", undoes: bool = False
) -> None:
    """Record a turn, void the readings from before it, and go on: undo it, or leave where it was asked for."""
    draft.emit(
        ev.Turned(
            at=draft.at,
            gate=draft.state.gate,
            rate=turn.screw,
            direction=direction,
            eighths=eighths,
            unlike=differs,
            undoes=undoes,
        )
    )
    turning = draft.plan.gate(turn.gate).gate.effects.turns
    assert turning is not None
    moved = dict.fromkeys((turning.using, *turning.voids)) if eighths else {}
    for kept_at in moved:
        if kept_at in draft.state.sets:
            draft.emit(ev.SetVoided(kept_at=kept_at, why="the adjuster was turned"))
    if draft.state.turn is not None:
        draft.ask_of_turn()
        return
    if undoes:
        draft.say("undone")
    if draft.gate.effects.turns is not None:
        draft.pass_gate(DONE)
    else:
        draft.open()


def _watched(draft: Draft, turn: OpenTurn, quantity: str, meaning: Values, utterance: Understanding) -> None:
    """Stop when the value passes a limit, at the first hearing; else go on to the undoing.

    Without any value nobody knows what the turn did: asked once more, then it is switched off.
    """
    called = dict(meaning.values).get(quantity)
    if called is None:
        draft.ask_again()
        return
    reading = draft.record_of(quantity, called)
    if utterance.doubt and not draft.beyond({quantity: reading}):
        draft.ask(TurnWatch(quantity=quantity), draft.words("once-more", what=draft.name(quantity)))
        return
    draft.emit(ev.TurnWatched(at=draft.at, gate=draft.state.gate, reading=reading))
    if draft.stop_if_beyond({quantity: reading}, may_adjust=False):
        return
    if called == NO_READING and turn.unanswered:
        _stop(draft, "no-reading", f"{quantity} could not be read after a turn that was not as advised")
    elif called == NO_READING:
        draft.ask(TurnWatch(quantity=quantity), draft.words("once-more", what=draft.name(quantity)))
    else:
        if isinstance(called, Decimal):
            draft.say("taken", values=sentence_case(spoken_value(draft, reading)))
        draft.ask_of_turn()


def _stop(draft: Draft, why: str, detail: str) -> None:
    hazard = draft.catalogue.hazards["stop-work"]
    draft.stop(why, detail, hazard.script, "common practice, no source", by="gate", hazard="stop-work")
