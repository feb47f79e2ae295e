"""What can be said at any moment: repeat, go back, hold, more time, where am I, what is left, not done, a note."""

from __future__ import annotations

from typing import assert_never

from handsfree.events import decisions as ev
from handsfree.gates.asking import asks_of_turns
from handsfree.gates.outcomes import NOT_DONE
from handsfree.gates.visit import Understanding, said_back
from handsfree.lexicon.meaning import CommandName
from handsfree.questions.instrument_asks import InstrumentAsks
from handsfree.questions.note import Note
from handsfree.session import photographing, turning
from handsfree.session.apply_stops import LONG_PAUSE_MS
from handsfree.session.draft import Draft
from handsfree.session.likely_way import gates_left
from handsfree.session.more_time import more_time
from handsfree.session.rechecking import recheck

_LEAVING = frozenset({"go-back", "that-was-wrong", "not-done"})


def command(draft: Draft, name: CommandName, utterance: Understanding) -> None:
    """Act on an everywhere phrase; what was asked after a crash or a long hold cannot be left unanswered.

    Nor can whether sound is kept: the gate behind that question was not asked yet, so it is not left by it. And a
    value that an instrument alone shows beyond a stop limit is called before all else.
    """
    if isinstance(draft.state.question, InstrumentAsks) and name in _LEAVING | {"note"}:
        draft.ask_again()
    elif (draft.state.rechecks or draft.state.consent_due) and name in _LEAVING:
        _not_possible(draft)
    elif name in _LEAVING and _turn_untold(draft, name):
        draft.ask_of_turn()
    else:
        _obey(draft, name, utterance)


def _turn_untold(draft: Draft, name: str) -> bool:
    """Say whether a turn may have been made that the record does not hold yet, or one must be undone.

    "Not done" says itself that none was made, unless one was called before.
    """
    turn = draft.state.turn
    if turn is None or not asks_of_turns(draft.gate):
        return False
    return name != "not-done" or turn.called is not None


def _obey(draft: Draft, name: CommandName, utterance: Understanding) -> None:  # noqa: C901 - one case for each
    match name:
        case "repeat":
            draft.ask_again()
        case "go-back":
            _go_back(draft)
        case "hold-on":
            draft.emit(ev.Held(at=draft.at))
            draft.say("hold-on-firing" if draft.gate.firing else "hold-on")
        case "carry-on":
            _carry_on(draft)
        case "where-am-i":
            draft.say("here", title=draft.gate.title)
            draft.ask_again()
        case "what-is-left":
            _what_is_left(draft)
        case "that-was-wrong":
            _last_wrong(draft)
        case "not-done":
            _not_done(draft, utterance)
        case "no-photo":
            photographing.declined(draft, utterance)
        case "note":
            draft.ask(Note(), draft.words("note-now"))
        case "more-time":
            more_time(draft)
        case _:
            assert_never(name)


def _go_back(draft: Draft) -> None:
    """Return to the last gate that asks something; nothing is un-altered, unmet needs are asked there."""
    asked = [gate_id for gate_id in draft.asked if _asks(draft, gate_id)]
    if not asked:
        draft.say("nothing-back")
        draft.ask_again()
        return
    draft.go_back(asked[-1])


def _asks(draft: Draft, gate_id: str) -> bool:
    """Say whether a gate would ask something now: a restore with nothing left to restore would not."""
    return draft.plan.gate(gate_id).gate.returned_to(draft.state)


def _carry_on(draft: Draft) -> None:
    held = draft.state.held_since
    if held is None:
        draft.ask_again()
        return
    draft.emit(ev.CarriedOn(at=draft.at))
    draft.say("carry-on")
    if draft.gate.firing and draft.at - held > LONG_PAUSE_MS:
        recheck(draft, untouched=True)
    else:
        draft.ask_again()


def _what_is_left(draft: Draft) -> None:
    left = gates_left(draft.plan, draft.state)
    names = ", ".join(draft.plan.things[thing].said for thing in draft.state.altered)
    draft.say("left", gates=str(left), things=names or draft.words("nothing-altered"))
    draft.ask_again()


def _not_done(draft: Draft, utterance: Understanding) -> None:
    """Pass the gate undone, with the reason kept; stops, isolations and restores refuse."""
    if NOT_DONE not in draft.transitions:
        draft.say("not-done-refused")
        draft.ask_again()
        return
    event = ev.NotDone(at=draft.at, gate=draft.state.gate, reason=utterance.text, sound=utterance.sound)
    draft.emit(event)
    draft.say("not-done")
    said_back(draft, utterance)
    draft.pass_gate(NOT_DONE)


def _last_wrong(draft: Draft) -> None:
    """Take back the readings of the gate at hand, or go back to what was called last: a reading, or an answer."""
    if _void_here(draft):
        return
    taken = [g for g in draft.asked if _called(draft, g)]
    if taken:
        draft.go_back(taken[-1])
    else:
        _not_possible(draft)


def _called(draft: Draft, gate_id: str) -> bool:
    """Say whether something was called at a gate that could have been another thing."""
    gate = draft.plan.gate(gate_id).gate
    return bool(gate.effects.kept_at) or len(gate.phrases) > 1


def _void_here(draft: Draft) -> bool:
    """Void the readings of the gate at hand and ask for them anew; False when it has none."""
    kept_at = draft.gate.effects.kept_at
    if not kept_at or not (draft.state.sets.get(kept_at) or draft.state.pending.values):
        return False
    draft.emit(ev.SetVoided(kept_at=kept_at, why="the person called it wrong"))
    draft.open()
    return True


def _not_possible(draft: Draft) -> None:
    draft.say("not-possible")
    draft.ask_again()


def taken_back(draft: Draft, quantity: str) -> None:
    """Take a value back (its name and "was wrong"): go back to where it was taken; its verdicts are given anew."""
    if draft.state.rechecks:
        _not_possible(draft)
        return
    if _turn_untold(draft, "that-was-wrong"):
        turning.watch_again(draft, quantity)
        return
    if _calls(draft, draft.state.gate, quantity) and _void_here(draft):
        return
    for gate_id in reversed(draft.asked):
        if _calls(draft, gate_id, quantity):
            draft.go_back(gate_id)
            return
    _not_possible(draft)


def _calls(draft: Draft, gate_id: str, quantity: str) -> bool:
    return any(ask.quantity == quantity for ask in draft.plan.gate(gate_id).gate.effects.asks)
