"""How the events of a turn change the state of a visit: for `apply` alone."""

from __future__ import annotations

from typing import assert_never

from handsfree.events import decisions as ev
from handsfree.events.replacing import replace
from handsfree.events.state import AdjusterTurned, OpenTurn, State
from handsfree.lexicon.meaning import NO_READING
from handsfree.session.plan import Plan


def turn_told(
    plan: Plan, state: State, event: ev.Advised | ev.TurnCalled | ev.ScrewNamed | ev.TurnWatched
) -> State:
    """Return the state with what is known of the turn at hand."""
    if isinstance(event, ev.Advised):
        turning = plan.gate(event.gate).gate.effects.turns
        if turning is None or event.direction not in {"clockwise", "counter-clockwise"}:
            return replace(state, turn=None)
        direction: ev.Direction = "clockwise" if event.direction == "clockwise" else "counter-clockwise"
        return replace(state, turn=OpenTurn(event.gate, turning.rate, direction, event.eighths, turning.rate))
    turn = state.turn
    assert turn is not None, "a turn is told that nothing asked for"
    match event:
        case ev.TurnCalled():
            called, challenged = (event.direction, event.eighths), turn.challenged + bool(event.eighths)
            turn = replace(turn, called=called, challenged=challenged, unanswered=not event.eighths)
            return replace(state, turn=turn)
        case ev.ScrewNamed():
            screw = event.rate
            history = state.history
            if turn.owed:  # nothing was learned since it was turned
                last = history[-1]
                assert isinstance(last, AdjusterTurned)
                history = (*history[:-1], replace(last, rate=screw))
            unlike_now = turn.called is not None and not turn.owed  # what was called before was on the wrong one
            challenged = max(turn.challenged, 1) if unlike_now else turn.challenged
            turn = replace(turn, screw=screw, named=True, challenged=challenged)
            return replace(state, turn=turn, history=history)
        case ev.TurnWatched():
            nothing = event.reading.value == NO_READING
            return replace(state, turn=replace(turn, watched=not nothing, unanswered=nothing))
        case _:
            assert_never(event)


def turned(state: State, event: ev.Turned) -> State:
    """Return the state with a turn that counts: part of the history, and to be undone when it was not as asked."""
    turned = AdjusterTurned(event.rate, event.direction, event.eighths, event.at)
    turn = state.turn
    if turn is not None:
        owed = turn.owed + (event.eighths if event.direction == "clockwise" else -event.eighths)
        open_still = bool(event.unlike or event.undoes) and owed != 0
        turn = (
            replace(
                turn,
                owed=owed,
                called=(event.direction, event.eighths),
                challenged=0,
                unanswered=False,
                watched=turn.watched and not event.unlike,
            )
            if open_still
            else None
        )
    return replace(state, history=(*state.history, turned), last_change=event.at, turn=turn)
