"""Keys for gloves: they lead a whole visit, and a bumped or leaned-on key does no harm."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import pytest
from gloved import keys_for, meaning, pressed
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import DAY, at, of_kind, places, play, say, shipped, technician, twin

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event
from handsfree.events.state import State
from handsfree.glance.keypad_state import (
    BOUNCE_MS,
    DOWN,
    ENTER,
    LEFT,
    RIGHT,
    SPACE,
    STOP_BUTTON,
    STOP_WITHIN_MS,
    UP,
    WORD,
    WORDS_KEPT_MS,
    KeypadState,
    here,
    press,
)
from handsfree.glance.notes import Notes
from handsfree.glance.view import glance
from handsfree.session.apply import after, apply
from handsfree.session.decide import decide
from handsfree.session.keys import hazards, keypad
from handsfree.session.rehearsal import Rehearsal


def test_a_whole_visit_is_led_by_keys_alone() -> None:
    """From the first gate to the finish no word is typed, and it ends as the spoken visit does."""
    visit, keypad_state = Rehearsal(shipped(), DAY), KeypadState()

    def by_keys(answer: str) -> Sequence[Event]:
        nonlocal keypad_state
        keypad_state, decided = pressed(visit, keypad_state, keys_for(visit.plan, visit.state, answer))
        return decided

    play(visit, technician(shipped()), say=by_keys)
    spoken = places()["", "end"].state
    assert visit.state.gate == "finished" == spoken.gate
    assert not visit.state.altered
    assert visit.state.verdicts == spoken.verdicts
    assert not [event for event in visit.events if isinstance(event, ev.NotUnderstood)]


def test_every_answer_that_keys_can_give_is_understood() -> None:
    """At every question of the visit: enter alone, no, and every answer that can be marked."""
    for (gate, kind), visit in places().items():
        if visit.over or not visit.asking:
            continue
        found = keypad(visit.plan, visit.state)
        assert found.plain or found.fields or found.offers, (gate, kind)
        texts = [found.plain, found.no, *(one.text for one in found.offers if one.opens is None)]
        for text in filter(None, texts):
            assert meaning(visit.plan, visit.state, text) is not None, (gate, kind, text)


def test_enter_is_named_where_it_does_something_and_nowhere_else() -> None:
    """At every question, nothing marked or entered: at a choice there is no Enter, since it would do nothing."""
    for kept in places().values():
        visit, at_ms = twin(kept), kept.state.now + 5_000
        keypad_state = here(visit.state, KeypadState(), visit.state.now)
        picture = glance(visit.plan, visit.state, at_ms, Notes(), keypad_state=keypad_state)
        named = [key.does for key in picture.keys if key.key == visit.plan.catalogue.show("key-enter")]
        _, text = press(visit.plan, visit.state, keypad_state, ENTER, at_ms)
        assert bool(named) == bool(text), (visit.state.gate, visit.state.question.kind)
        assert not named or named[0].startswith(text)


def held(
    visit: Rehearsal, key: str, seconds: float = 6.0, every_ms: int = 33, first_ms: int = 500
) -> tuple[list[str], State]:
    """Lean on a key as a terminal sends it: once, a pause, then fast; return what came of it."""
    plan, state, texts = visit.plan, visit.state, []
    keypad_state = here(state, KeypadState(), state.now)
    began = state.now + 1500
    for at_ms in (began, *range(began + first_ms, began + round(1000 * seconds), every_ms)):
        keypad_state, text = press(plan, state, keypad_state, key, at_ms)
        if text:
            texts.append(text)
            event = inp.Typed(at=at_ms, text=text)
            state = after(plan, apply(plan, state, event), decide(plan, state, event))
        keypad_state = here(state, keypad_state, at_ms)
    return texts, state


@pytest.mark.slow("each key at each place")
def test_leaning_on_a_key_never_does_more_than_one_press() -> None:
    """At every question of the visit, by enter and by the left arrow, with the slowest first repeat in use."""
    for kept in places().values():
        for key in (ENTER, LEFT):
            if not kept.over and kept.asking:
                assert len(held(kept, key, seconds=3.0, first_ms=660)[0]) <= 1


def stopped() -> Rehearsal:
    visit = at("found-maximum")
    say(visit, "stop work")
    return visit


@pytest.mark.parametrize("kind", ["put-back", "thing-check", "finish-check", "done-check"])
def test_one_switch_pressed_in_haste_restores_and_finishes_nothing(kind: str) -> None:
    """At every restore and read-back of the visit: a leaned-on or hammered switch confirms none of them."""
    begun = [kept for (_, asked), kept in places().items() if asked == kind]
    assert begun
    for kept in begun:
        for every in (33, 150, 400, 700):
            visit = twin(kept)
            before = len(visit.events)
            keypad_state = here(visit.state, KeypadState(), visit.state.now)
            for number in range(int(900 / every) + 1):
                keypad_state, text = press(
                    visit.plan, visit.state, keypad_state, ENTER, visit.state.now + 1 + every * number
                )
                assert text == ""
            assert len(visit.events) == before


def test_one_switch_never_says_that_a_thing_is_put_back_or_how_a_stop_goes_on() -> None:
    """However slowly it is pressed: which state a thing is in, and how a stop goes on, is chosen by an arrow."""
    asked = [kept for (_, kind), kept in places().items() if kind == "restore"]
    for kept in [*asked, stopped()]:
        visit = twin(kept)
        _, decided = pressed(visit, KeypadState(), [ENTER] * 5)
        assert (
            not of_kind(decided, ev.Restored) + of_kind(decided, ev.StepsBegun) + of_kind(decided, ev.VisitClosed)
        )


def test_after_a_stop_each_step_is_chosen_by_an_arrow() -> None:
    """How it goes on, then each answer; the order to leave offers nothing but "outside". Hazards stand below."""
    visit = stopped()
    assert answers(visit) == ["put right", "leave it off"]
    visit = at("found-maximum")
    visit.say("gas smell")
    assert answers(visit) == ["outside"]
    _, decided = pressed(visit, KeypadState(), [DOWN, ENTER])
    (begun,) = of_kind(decided, ev.StepsBegun)
    assert begun.part == "outside"
    assert answers(visit) == ["control closed", "not reached"]
    _, decided = pressed(visit, KeypadState(), [DOWN, DOWN, ENTER])
    assert of_kind(decided, ev.StepReported)[0].answer == "not-reached"


def answers(visit: Rehearsal) -> list[str]:
    """Return what can be marked, without the hazards."""
    found = keypad(visit.plan, visit.state).offers
    return [offer.text for offer in found[: -len(hazards(visit.plan))]]


def test_three_presses_of_the_right_arrow_stop_the_work_at_once() -> None:
    """At every question of the visit, while holding and while waiting too; two do nothing."""
    for kept in [*places().values(), holding()]:
        if kept.over:
            continue
        visit, now = twin(kept), kept.state.now
        keypad_state, first = press(visit.plan, visit.state, KeypadState(), RIGHT, now + 100)
        keypad_state, second = press(visit.plan, visit.state, keypad_state, RIGHT, now + 300)
        _, third = press(visit.plan, visit.state, keypad_state, RIGHT, now + 500)
        assert (first, second) == ("", "")
        decided = visit.take(inp.Typed(at=now + 500, text=third))
        assert of_kind(decided, ev.Stopped)


def holding() -> Rehearsal:
    visit = at("found-maximum")
    say(visit, "hold on")
    return visit


def test_a_right_arrow_held_down_stops_too_and_a_bouncing_one_does_not() -> None:
    """Auto-repeat counts as pressing; contacts that bounce within 60 ms do not."""
    visit = at("found-maximum")
    texts, state = held(visit, RIGHT, seconds=1.0)
    assert texts == ["stop work"]
    assert state.status == "stopped"
    keypad_state, visit = KeypadState(), at("found-maximum")
    for bounce in range(4):
        keypad_state, text = press(
            visit.plan, visit.state, keypad_state, RIGHT, visit.state.now + bounce * BOUNCE_MS // 4
        )
        assert text == ""


def test_right_arrows_far_apart_stop_nothing() -> None:
    """Three bumps in a long visit are no alarm."""
    visit, keypad_state = at("found-maximum"), KeypadState()
    for number in range(6):
        now = visit.state.now + number * (STOP_WITHIN_MS // 2 + 100)
        keypad_state, text = press(visit.plan, visit.state, keypad_state, RIGHT, now)
        assert text == ""


def test_the_pages_stop_button_needs_one_press() -> None:
    """A button that says STOP stops."""
    visit = at("found-maximum")
    assert press(visit.plan, visit.state, KeypadState(), STOP_BUTTON, visit.state.now)[1] == "stop work"


def test_the_point_stands_where_the_instrument_shows_it() -> None:
    """93 is 9.3 for CO2 and 93 for CO; the row is sent whole, and read back as values."""
    visit = at("found-maximum")
    _, decided = pressed(visit, KeypadState(), [*"93", ENTER, *"44", ENTER, *"18", ENTER])
    (back,) = of_kind(decided, ev.ReadBack)
    assert [(one.quantity, one.value) for one in back.values] == [("co2", "9.3"), ("o2", "4.4"), ("co", "18")]


@given(co2=st.decimals("0.0", "20.0", places=1), o2=st.decimals("0.0", "20.9", places=1), co=st.integers(0, 9999))
@settings(max_examples=200)
def test_any_row_is_sent_in_words_that_mean_only_that_row(co2: Decimal, o2: Decimal, co: int) -> None:
    """However the digits could be divided otherwise: the words sent have one meaning, the values entered."""
    visit, keypad_state, text = at("found-maximum"), KeypadState(), ""
    now = visit.state.now
    keys = [*str(int(co2 * 10)), ENTER, *str(int(o2 * 10)), ENTER, *str(co), ENTER]
    for number, key in enumerate(keys):
        keypad_state, text = press(visit.plan, visit.state, keypad_state, key, now + 1000 * (number + 1))
    found = meaning(visit.plan, visit.state, text)
    assert dict(found.values) == {"co2": co2, "o2": o2, "co": Decimal(co)}  # type: ignore[union-attr]


def test_left_takes_back_digit_by_digit_and_field_by_field() -> None:
    """Nothing is sent by it until nothing is left to take back."""
    visit, keypad_state = at("found-maximum"), KeypadState()
    keys = [*"93", ENTER, "4", LEFT, LEFT, LEFT, LEFT, *"88", ENTER]
    keypad_state, decided = pressed(visit, keypad_state, keys)
    assert not decided
    assert keypad_state.entries == ("88", "")


def test_left_says_no_to_a_read_back() -> None:
    """The values read back are then asked for."""
    visit = at("found-maximum", "read-back")
    pressed(visit, KeypadState(), [LEFT])
    assert visit.state.question.kind == "which-value"


def test_one_value_of_a_read_back_is_corrected_by_keys() -> None:
    """Marked by arrows, entered by digits, sent as a correction in one breath."""
    visit = at("found-maximum", "read-back")
    _, decided = pressed(visit, KeypadState(), keys_for(visit.plan, visit.state, "no c o 80"))
    (corrected,) = of_kind(decided, ev.ReadingCorrected)
    assert (corrected.now.quantity, corrected.now.value) == ("co", "80")


def test_co_over_range_is_within_a_few_presses_wherever_the_burner_fires() -> None:
    """At most six arrows and enter; it stops at once."""
    firing = [kept for (gate, _), kept in places().items() if not kept.over and kept.plan.gate(gate).gate.firing]
    assert len(firing) > 20
    for kept in firing:
        if not kept.asking:
            continue
        labels = [offer.label for offer in keypad(kept.plan, kept.state).offers]
        number = labels.index("CO over range") + 1
        if kept.state.question.kind in {"turn", "turn-check"}:
            continue  # the turns come first there; the right arrow is nearer
        assert number <= 8, (kept.state.gate, labels)
        visit = twin(kept)
        _, decided = pressed(visit, KeypadState(), [*[DOWN] * number, ENTER])
        assert of_kind(decided, ev.Stopped)


def test_the_advised_turn_is_the_first_press_down() -> None:
    """And it is confirmed like any other."""
    visit = at("maximum-turn", "turn")
    _, decided = pressed(visit, KeypadState(), [DOWN, ENTER, ENTER])
    (turned,) = of_kind(decided, ev.Turned)
    assert (turned.direction, turned.eighths) == ("counter-clockwise", 1)


def test_typed_words_can_be_sent_and_are_dropped_when_nobody_goes_on() -> None:
    """Where letters are let through: enter sends them; a while later enter means itself again."""
    visit = at("found-maximum")
    keys = [WORD + letter for letter in "stop"] + [ENTER]
    now = visit.state.now
    keypad_state = here(visit.state, KeypadState(), now)
    sent = ""
    for number, key in enumerate(keys):
        keypad_state, sent = press(visit.plan, visit.state, keypad_state, key, now + 300 * (number + 1))
    assert sent == "stop"
    keypad_state, _ = press(visit.plan, visit.state, keypad_state, WORD + "x", now + 5_000)
    assert here(visit.state, keypad_state, now + 5_000 + WORDS_KEPT_MS + 1).words == ""


KEYS = st.sampled_from([ENTER, SPACE, LEFT, RIGHT, UP, DOWN, *"0123456789"])


@given(keys=st.lists(st.tuples(KEYS, st.integers(1, 2_000)), max_size=60), place=st.integers(0, 10_000))
@settings(max_examples=150)
def test_keys_mashed_anywhere_send_only_what_is_understood(keys: list[tuple[str, int]], place: int) -> None:
    """Whatever is pressed at whatever pace, from any question of the visit: nothing unknown, and no crash."""
    kept = list(places().values())
    visit = twin(kept[place % len(kept)])
    keypad_state, now = KeypadState(), visit.state.now
    for key, pause in keys:
        now = max(now + pause, visit.state.now)
        keypad_state = here(visit.state, keypad_state, now)
        state = visit.state
        keypad_state, text = press(visit.plan, state, keypad_state, key, now)
        if text and not visit.over:
            known = meaning(visit.plan, state, text) is not None
            number = any(character.isdigit() for character in text)
            assert known or number, (state.gate, state.question, text)
            visit.take(inp.Typed(at=now, text=text))
