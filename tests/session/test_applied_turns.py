"""What each event of a turn leaves of the visit's state: the events are applied one by one, without a dialogue."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from rehearsed import at, shipped

from handsfree.events import decisions as ev
from handsfree.events.record import Event
from handsfree.events.replacing import replace
from handsfree.events.state import AdjusterTurned, Learned, OpenTurn, State, ValueKept
from handsfree.session.apply import apply

GATE = "maximum-turn"
LEARNED: tuple[Learned, ...] = (
    ValueKept("first-maximum", "co2", Decimal("9.8")),
    AdjusterTurned("maximum", "clockwise", 1, 1_000),
    AdjusterTurned("maximum", "clockwise", 8, 2_000),
)


def advised(**other: Any) -> State:
    """Return the state with one eighth counter-clockwise advised at maximum, and two turns made before."""
    turn = OpenTurn(GATE, "maximum", "counter-clockwise", 1, "maximum", **other)
    return replace(at(GATE, "turn").state, turn=turn, history=LEARNED)


def applied(state: State, event: Event) -> State:
    return apply(shipped(), state, event)


def turn_of(state: State) -> OpenTurn:
    assert state.turn is not None
    return state.turn


# Advice


def advice(gate: str, direction: str) -> ev.Advised:
    return ev.Advised(gate=gate, adjuster="throttle", direction=direction, eighths=1, reason="test")


def test_advice_opens_a_turn_where_a_screw_is_turned_and_a_direction_is_said() -> None:
    for direction in ("clockwise", "counter-clockwise"):
        turn = turn_of(applied(replace(advised(), turn=None), advice(GATE, direction)))
        assert (turn.gate, turn.rate, turn.direction, turn.eighths) == (GATE, "maximum", direction, 1)


@pytest.mark.parametrize(("gate", "direction"), [(GATE, ""), ("found-maximum", "clockwise")])
def test_advice_without_a_direction_or_at_a_gate_without_a_screw_opens_none(gate: str, direction: str) -> None:
    """And the one that was open before is open no more."""
    assert applied(advised(), advice(gate, direction)).turn is None


# The screw


def named(**turn: Any) -> State:
    return applied(advised(**turn), ev.ScrewNamed(at=3_000, gate=GATE, rate="minimum"))


def test_the_screw_named_after_its_turn_corrects_that_turn_alone() -> None:
    """What was learned before it stands, in its order."""
    state = named(owed=8)
    assert state.history == (*LEARNED[:2], AdjusterTurned("minimum", "clockwise", 8, 2_000))
    assert (turn_of(state).screw, turn_of(state).named) == ("minimum", True)


def test_the_screw_named_before_any_turn_counts_corrects_none() -> None:
    assert named().history == LEARNED


@pytest.mark.parametrize(
    ("called", "owed", "challenged"),
    [(("clockwise", 1), 0, 1), (("clockwise", 1), 8, 0), (None, 0, 0), (None, 8, 0)],
)
def test_a_call_on_the_wrong_screw_counts_as_one_unlike_the_advice(
    called: tuple[ev.Direction, int] | None, owed: int, challenged: int
) -> None:
    """Called again the same, it was made. What is being undone already is no call of its own."""
    assert turn_of(named(called=called, owed=owed)).challenged == challenged


def test_two_calls_unlike_the_advice_stay_two_when_the_screw_is_named() -> None:
    assert turn_of(named(called=("clockwise", 1), challenged=2)).challenged == 2


# Undoing


@pytest.mark.parametrize(
    ("watched", "unlike", "stays"),
    [(True, "", True), (True, "the other way", False), (False, "", False), (False, "the other way", False)],
)
def test_what_was_read_after_a_wrong_turn_holds_until_the_next_wrong_one(
    unlike: str, *, watched: bool, stays: bool
) -> None:
    """Part of it undone: the value need not be read again. Turned further the wrong way: it must be."""
    direction: ev.Direction = "clockwise" if unlike else "counter-clockwise"
    event = ev.Turned(
        at=4_000, gate=GATE, rate="maximum", direction=direction, eighths=2, unlike=unlike, undoes=not unlike
    )
    turn = turn_of(applied(advised(owed=8, watched=watched, challenged=1), event))
    assert (turn.watched, turn.owed, turn.challenged) == (stays, 10 if unlike else 6, 0)
