"""What each event of a stop leaves of the visit's state: the events are applied one by one, without a dialogue."""

from __future__ import annotations

from typing import Any, Literal

import pytest
from rehearsed import at, shipped

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event
from handsfree.events.replacing import replace
from handsfree.events.state import Halt, State
from handsfree.session.apply import apply
from handsfree.session.apply_stops import LONG_PAUSE_MS, at_again
from handsfree.session.stop_orders import StopCause, order

GATE = "found-maximum"


def running() -> State:
    """Return the state as the first readings are called, which is entered 70 s after the visit began to run."""
    return replace(at(GATE).state, now=100_000, entered_at=70_000, stopped_by=frozenset(), old_before=0)


def stopped(*hazards: str, at_ms: int = 100_000, **other: Any) -> State:
    """Return that state under an order."""
    halt = Halt(hazards or ("co-alarm",), "Out.", "leave", **other)
    return replace(running(), status="stopped", stopped_at=at_ms, halt=halt)


def applied(state: State, event: Event) -> State:
    return apply(shipped(), state, event)


# A pause


@pytest.mark.parametrize(("ms", "old"), [(LONG_PAUSE_MS, False), (LONG_PAUSE_MS + 1, True)])
def test_readings_are_old_after_more_than_two_minutes_of_a_hold_an_interruption_or_a_stop(
    ms: int, *, old: bool
) -> None:
    """Two minutes to the millisecond are not yet long."""
    until = 100_000 + ms
    pauses = {
        "hold": (replace(running(), held_since=100_000), ev.CarriedOn(at=until)),
        "interruption": (running(), inp.Resumed(at=until, program="test")),
        "stop": (stopped(), ev.ReEntered(at=until, gate=GATE, how="walked")),
    }
    for name, (state, event) in pauses.items():
        assert applied(state, event).old_before == (until if old else 0), name


def test_to_carry_on_without_a_hold_makes_nothing_old() -> None:
    state = applied(running(), ev.CarriedOn(at=10 * LONG_PAUSE_MS))
    assert (state.old_before, state.held_since) == (0, None)


# Where a stopped visit goes on


def test_going_on_at_the_gate_of_the_stop_keeps_all_that_was_passed() -> None:
    """Also where that gate was passed once before: it is asked again, and nothing behind it is open."""
    state = stopped()
    earlier = state.passed[2]
    for gate in (GATE, earlier):
        here = replace(state, gate=gate)
        back = at_again(shipped(), here, gate)
        assert (back.gate, back.passed, back.verdicts) == (gate, here.passed, here.verdicts)


def test_going_on_at_an_earlier_gate_opens_what_was_passed_since() -> None:
    state = stopped()
    back = at_again(shipped(), state, state.passed[2])
    assert (back.gate, back.passed) == (state.passed[2], state.passed[:2])
    assert set(back.outcomes) == set(state.passed[:2])


def test_going_on_at_a_gate_that_was_never_passed_opens_nothing() -> None:
    """It may have been asked, and not answered."""
    state = stopped()
    back = at_again(shipped(), state, "first-maximum")
    assert "first-maximum" not in state.passed
    assert (back.gate, back.passed) == ("first-maximum", state.passed)


# Steps after a stop


def test_steps_begin_without_any_reading_taken() -> None:
    """What was counted of a step before does not count for these."""
    begun = applied(stopped(taken=2), ev.StepsBegun(at=100_000, part="re-entry", steps=("aired", "room")))
    assert begun.halt == Halt(("co-alarm",), "Out.", "leave", part="re-entry", left=("aired", "room"))


def reported(leads: ev.Leads) -> Halt:
    """Return what is asked after the step at hand, of which one reading was taken, leads somewhere."""
    state = stopped(part="re-entry", left=("room", "aired"), taken=1, ways=("put-right", "close"))
    halt = applied(state, ev.StepReported(at=100_000, step="room", answer="5", leads=leads)).halt
    assert halt is not None
    return halt


@pytest.mark.parametrize(
    ("leads", "left", "taken", "ways"),
    [
        ("on", ("aired",), 0, ("put-right", "close")),
        ("more", ("room", "aired"), 2, ("put-right", "close")),
        ("again", ("room", "aired"), 0, ("put-right", "close")),
        ("off", (), 0, ("close",)),
    ],
)
def test_a_step_leads_on_is_asked_for_more_or_again_or_leaves_only_the_way_down(
    leads: ev.Leads, left: tuple[str, ...], taken: int, ways: tuple[str, ...]
) -> None:
    """Readings in a row count for their own step alone."""
    halt = reported(leads)
    assert (halt.left, halt.taken, halt.ways) == (left, taken, ways)


# Back at work


@pytest.mark.parametrize(
    ("how", "entered", "remembered"),
    [("walked", 160_000, {"co-alarm"}), ("misheard", 160_000, set()), ("false-stop", 130_000, set())],
)
def test_only_a_stop_that_was_none_lets_a_wait_go_on(
    how: Literal["walked", "misheard", "false-stop"], entered: int, remembered: set[str]
) -> None:
    """After 30 s of waiting and 60 s of a stop: 30 s are waited after a cry that was none, nothing after others.

    Only a real one is remembered as a stop of this visit, and a value read wrong at the gate where it was.
    """
    back = applied(stopped(), ev.ReEntered(at=160_000, gate=GATE, how=how))
    assert (back.status, back.halt) == ("running", None)
    assert back.entered_at == entered
    assert back.stopped_by == remembered
    assert back.misheard_at - running().misheard_at == ({GATE} if how == "misheard" else set())


def test_what_is_owed_before_anything_fires_is_owed_for_the_stop() -> None:
    """Nothing owed is owed for nothing."""
    for owed, owed_for in ((("purge-wait",), ("co-alarm",)), ((), ())):
        back = applied(stopped(), ev.ReEntered(at=160_000, gate=GATE, how="walked", owed=owed))
        assert (back.owed, back.owed_for) == (owed, owed_for)


# The order that is spoken where one was in force


@pytest.mark.parametrize(
    ("halt", "spoken"),
    [
        (Halt(("gas-smell",), "Out.", "leave"), "Out."),
        (Halt(("gas-smell",), "Out.", "leave", part="outside"), "Out."),
        (
            Halt(("gas-smell",), "Out.", "leave", part="re-entry", left=("room",), ways=("put-right", "close")),
            "Off.",
        ),
        (Halt(("gas-smell",), "Out.", "leave", part="re-entry", ways=("close",)), "Out."),
        (Halt(("gas-smell",), "Out.", "leave", part="way-down", left=("gas",), ways=("close",)), "Off."),
        (Halt(("gas-smell",), "Out.", "stay", part="re-entry", ways=("close",)), "Off."),
        (Halt(("feel-ill",), "Out.", "leave"), "Out."),
        (Halt(("burner-out",), "Wait.", "stay"), "Off."),
        (None, "Off."),
    ],
)
def test_the_graver_order_is_spoken_while_it_is_in_force(halt: Halt | None, spoken: str) -> None:
    """Gas while nobody is back in, and again once a step back in was refused; on the way down the new one."""
    cause = StopCause("called", "", "Off.", "a test", by="voice", hazard="electric-shock", undoable=False)
    assert order(shipped(), replace(running(), halt=halt), cause).script == spoken


# The ways that an order leaves open


def ways(state: State, hazard: str, *, undoable: bool = False) -> tuple[str, ...]:
    cause = StopCause(
        "called", "", "Off.", "common practice, no source", by="voice", hazard=hazard, undoable=undoable
    )
    return order(shipped(), state, cause).ways


def test_only_a_bare_cry_can_be_taken_back_as_no_stop() -> None:
    assert "false-stop" in ways(running(), "stop-work", undoable=True)
    assert "false-stop" not in ways(running(), "stop-work")


def test_what_may_happen_once_only_leads_down_the_second_time() -> None:
    """Also where it comes with another; a stop that may come again is put right as before."""
    facts = shipped().catalogue.stops.stops
    once = next(name for name, stop in facts.items() if stop.once)
    often = next(name for name, stop in facts.items() if not stop.once)
    again = replace(running(), stopped_by=frozenset({once, often}))
    assert "put-right" in ways(running(), once)
    assert "put-right" not in ways(again, once)
    assert "put-right" in ways(again, often)
    fresh = next(name for name, stop in facts.items() if name not in {once, often})
    assert "put-right" not in ways(replace(again, halt=Halt((fresh,), "Out.", "stay")), once)
