"""A hazard is called by keys at every question, also on hold, in a wait and after a stop."""

from __future__ import annotations

from itertools import cycle

import pytest
from gloved import pressed
from rehearsed import at, hear, of_kind, places, say, shipped, twin
from told import Told

from handsfree.events import decisions as ev
from handsfree.glance import screen
from handsfree.glance.keypad_state import ENTER, HAZARD, UP, KeypadState, press
from handsfree.procedure.languages import english
from handsfree.procedure.trades import known_trades
from handsfree.session.keys import hazards
from handsfree.session.rehearsal import Rehearsal

CRIED = ("gas-smell", "fire", "co-alarm", "feel-ill", "electric-shock", "burn", "flood", "abnormal-burning")
"""What hurts people; leaving the work and a burner that went out stand beside it."""
ALL = tuple(reversed(hazards(shipped())))


def stopped_by(visit: Rehearsal) -> set[str]:
    return set() if visit.state.halt is None else set(visit.state.halt.hazards)


def test_keys_call_each_hazard_of_the_trade_the_gravest_from_the_nearest_key() -> None:
    """The gravest by one press up; a stop has its own key."""
    assert {*ALL, "stop-work"} == set(shipped().catalogue.hazards)
    assert ALL[0] == "gas-smell"
    assert set(CRIED) < set(ALL)
    for trade in known_trades():
        words = english(trade)
        assert set(words.hazards) <= set(words.stops.stops)


def everywhere() -> list[tuple[str, Rehearsal]]:
    """Return the visit at each of its questions, on hold, in a wait, and at the questions after stops."""
    asked = [("/".join(key), kept) for key, kept in places().items() if not kept.over]
    held = at("found-maximum-temperatures")
    say(held, "hold on")
    after: list[tuple[str, Rehearsal]] = [("hold", held)]
    for words in (
        ("stop work",),
        ("stop work", "put right"),  # free words
        ("stop work", "leave it off"),
        ("stop work", "leave it off", "burner switched off", "gas cock closed", "power isolated"),  # a thing
        ("headache", "outside"),
        ("alarm", "outside", "not reached", "nobody inside", "them", "put right", "switched off"),  # a value
    ):
        visit = at("found-maximum")
        say(visit, *words)
        after.append((", ".join(words), visit))
    return [*asked, *after]


def test_each_hazard_is_called_by_arrows_by_touch_and_by_a_line_at_every_question() -> None:
    """The gravest at each, the others in turn; what each key comes to is the line that could be typed."""
    others = cycle(ALL[1:])
    for name, kept in everywhere():
        for hazard in (ALL[0], next(others)):
            visit, number = twin(kept), ALL.index(hazard) + 1
            _, touched = press(visit.plan, visit.state, KeypadState(), HAZARD + hazard, visit.state.now)
            by_line = twin(kept)
            by_line.say(touched)
            _, decided = pressed(visit, KeypadState(), [*[UP] * number, ENTER])
            assert touched == visit.plan.catalogue.hazards[hazard].heard[0], name
            assert stopped_by(visit) == stopped_by(by_line), name
            if hazard == "burner-out":  # void, expected, or a stop: as the gate has it
                assert not of_kind(decided, ev.NotUnderstood), name
            else:
                assert hazard in stopped_by(visit), (name, hazard)


@pytest.mark.parametrize("hazard", CRIED)
def test_a_hazard_by_key_gives_its_own_order(hazard: str) -> None:
    """As spoken; it is meant, so nothing undoes it and nobody misheard it."""
    visit = at("found-maximum")
    _, decided = pressed(visit, KeypadState(), [*[UP] * (ALL.index(hazard) + 1), ENTER])
    (stopped,) = of_kind(decided, ev.Stopped)
    assert stopped.script == shipped().catalogue.hazards[hazard].script
    assert stopped.by == "keys"
    hear(visit, "false stop")
    hear(visit, "it was misheard")
    assert visit.state.status == "stopped"


def test_one_key_alone_calls_no_hazard() -> None:
    """Neither up, however often or long, nor enter."""
    for keys in ([UP] * 40, [ENTER] * 5):
        visit = at("found-maximum")
        _, decided = pressed(visit, KeypadState(), keys)
        assert not of_kind(decided, ev.Stopped)


def test_a_name_that_is_no_hazard_calls_none() -> None:
    """Nor does a hazard over a record that is closed."""
    visit = at("found-maximum")
    for name in ("stop-work", "limit", "no such"):
        assert press(visit.plan, visit.state, KeypadState(), HAZARD + name, visit.state.now)[1] == ""
    closed = places()["", "end"]
    assert press(closed.plan, closed.state, KeypadState(), HAZARD + "gas-smell", closed.state.now)[1] == ""


def test_the_screen_names_the_key_and_no_hazard_stands_under_an_order() -> None:
    """Under the order to leave only "outside" is offered; hazards come up as they are marked."""
    told = Told(at("found-maximum"))

    def rows() -> list[str]:
        return [line.plain for line in screen.lines(told.live.picture(), 80, 24)]

    assert any("[↑] gas smell …" in row for row in rows())
    told.live.press(HAZARD + "co-alarm")
    told.turn()
    picture = told.live.picture()
    assert picture.remark == "CO alarm: called by the person"
    (offered,) = [row for row in rows() if row.startswith(" ↑↓ ")]
    assert offered.split() == ["↑↓", "1", "outside"]
    told.live.press(UP)
    told.turn()
    assert any("▶ gas smell" in row for row in rows())
