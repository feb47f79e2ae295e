"""A called turn is held against the advice; unlike it, it is said again, watched and undone. None is ever lost.

The expectations are written out here: which calls are within an advice, and what the ends of a turned screw add up
to, is worked out by the tests themselves. Directions and sizes of steps: SAFETY C, makers' manuals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import (
    at,
    of_kind,
    plan_with,
    say,
    sheets,
    spoken,
    utterance,
    with_appliance,
)

from handsfree.events import decisions as ev
from handsfree.session.keys import keypad
from handsfree.session.playing import AgreeingPlayer
from handsfree.session.rehearsal import Rehearsal

SIZES = {
    1: "one eighth",
    2: "one quarter",
    3: "three eighths",
    4: "half a turn",
    6: "three quarters",
    8: "one turn",
}
WAYS: tuple[Literal["clockwise", "counter-clockwise"], ...] = ("clockwise", "counter-clockwise")


def at_turn(direction: str = "", eighths: int = 0) -> Rehearsal:
    """Return a visit that has just been advised a turn at maximum: as the demo advises, or another one."""
    visit = at("maximum-turn", "turn")
    turn = visit.state.turn
    assert turn is not None
    if eighths:
        other = replace(turn, direction=direction, eighths=eighths)  # type: ignore[arg-type]
        visit.state = replace(visit.state, turn=other)
    return visit


def only_maximum() -> Rehearsal:
    """Return a visit at the first turn of a boiler whose sheet names one screw alone."""
    visit = at_turn()
    own = sheets().appliance.adjusters
    visit.plan = plan_with(with_appliance(adjusters={"maximum": own["maximum"]}))
    return visit


def told(visit: Rehearsal, *lines: str) -> list[str]:
    """Return what the tool says to each line, in turn."""
    return [text for line in lines for text in spoken(visit.say(line))]


def test_a_wrong_turn_that_brings_the_analyser_over_range_switches_off_first() -> None:
    """The whole story, word for word; the turn stands in the record although it was never undone."""
    visit = at_turn()
    assert visit.state.text == "Throttle screw, counter-clockwise, facing the screw, one eighth."
    assert told(visit, "clockwise one turn") == ["Say the turn again."]
    assert told(visit, "clockwise one turn") == ["CO?"]
    assert told(visit, "over range") == ["Over range. Burner off now."]
    assert visit.state.status == "stopped"
    (turned,) = of_kind(visit.events, ev.Turned)
    assert (turned.rate, turned.direction, turned.eighths) == ("maximum", "clockwise", 8)
    assert turned.unlike == "the other way"


def test_a_wrong_turn_with_carbon_monoxide_in_order_is_undone_and_read_anew() -> None:
    """Watched, undone, recorded; the readings from before it are void; back to where readings are taken."""
    visit = only_maximum()
    assert visit.state.readings("first-maximum")
    assert told(visit, "clockwise one turn", "clockwise one turn") == ["Say the turn again.", "CO?"]
    assert not visit.state.readings("first-maximum")
    assert told(visit, "forty") == ["Four zero.", "Undo: counter-clockwise, one turn."]
    assert told(visit, "counter clockwise one turn")[0] == "Undone."
    first, second = of_kind(visit.events, ev.Turned)
    assert (first.direction, first.eighths, first.undoes) == ("clockwise", 8, False)
    assert (second.direction, second.eighths, second.undoes) == ("counter-clockwise", 8, True)
    assert (visit.state.turn, visit.state.status) == (None, "running")
    passed = of_kind(visit.events, ev.GatePassed)[-1]
    assert visit.state.gate != "maximum-turn"
    assert not visit.state.readings("first-maximum")
    assert passed.gate != "maximum-turn" or passed.outcome == "done"


def test_where_two_screws_are_near_it_is_asked_which_one_was_turned() -> None:
    """The demo's sheet names one for each rate; the record then names the right one."""
    visit = at_turn()
    lines = ("clockwise one turn", "clockwise one turn", "forty")
    assert told(visit, *lines)[-1] == "Which screw: maximum, minimum?"
    assert told(visit, "minimum") == ["Undo: offset screw, counter-clockwise, one turn."]
    assert visit.state.moves[-1].rate == "minimum"
    visit.say("counter clockwise one turn")
    assert [(move.rate, move.direction, move.eighths) for move in visit.state.moves] == [
        ("minimum", "clockwise", 8),
        ("minimum", "counter-clockwise", 8),
    ]


@pytest.mark.parametrize("admitted", ["wrong screw", "the other screw"])
def test_the_wrong_screw_can_be_called_before_or_after_the_turn(admitted: str) -> None:
    """It is understood at the advice and at the read-back, and the turn on it is undone."""
    visit = at_turn()
    assert told(visit, admitted, "counter clockwise one eighth") == ["Turn made?", "Say the turn again."]
    assert told(visit, "counter clockwise one eighth") == ["CO?"]
    visit = at_turn()
    assert told(visit, "counter clockwise one eighth", admitted)[-1] == "Say the turn again."
    assert told(visit, "counter clockwise one eighth") == ["CO?"]
    assert told(visit, "forty")[-1] == "Undo: offset screw, clockwise, one eighth."
    visit.say("clockwise one eighth")
    assert [move.rate for move in visit.state.moves] == ["minimum", "minimum"]
    assert visit.state.gate != "maximum-turn"


def test_a_misheard_turn_said_again_as_advised_is_read_back_as_ever() -> None:
    """What was heard first stays in the record, as called."""
    visit = at_turn()
    assert told(visit, "clockwise one eighth") == ["Say the turn again."]
    assert told(visit, "counter clockwise one eighth") == ["Counter-clockwise, one eighth."]
    visit.say("confirmed")
    (turned,) = of_kind(visit.events, ev.Turned)
    assert (turned.direction, turned.eighths, turned.unlike) == ("counter-clockwise", 1, "")
    assert [call.unlike for call in of_kind(visit.events, ev.TurnCalled)] == ["the other way"]


def test_more_than_the_maker_allows_at_a_time_is_said_so_in_the_record() -> None:
    """The sheet's `most_eighths` is 1; half a turn the right way is challenged too."""
    visit = at_turn()
    assert told(visit, "counter clockwise half a turn") == ["Say the turn again."]
    (call,) = of_kind(visit.events, ev.TurnCalled)
    assert call.unlike == "further than the 1 eighths that the maker allows at a time"


def test_no_turn_needs_no_undoing() -> None:
    """Nothing moved: the readings stay, and the record says so."""
    visit = at_turn()
    assert told(visit, "no turn") == ["No turn."]
    visit.say("confirmed")
    (turned,) = of_kind(visit.events, ev.Turned)
    assert turned.eighths == 0
    assert not of_kind(visit.events[-12:], ev.SetVoided) or visit.state.gate != "maximum-turn"


@pytest.mark.parametrize("leaving", ["that was wrong", "go back", "not done because it is stuck", "c o was wrong"])
def test_a_turn_that_may_have_been_made_is_never_left_behind(leaving: str) -> None:
    """ "No" to the read-back, then any way out: it is asked for until it is told."""
    visit = at_turn()
    assert told(visit, "counter clockwise one eighth", "no") == ["Counter-clockwise, one eighth.", "Turn made?"]
    assert told(visit, leaving) == ["Turn made?"]
    assert visit.state.gate == "maximum-turn"
    say(visit, "counter clockwise one eighth", "confirmed")
    assert len(of_kind(visit.events, ev.Turned)) == 1


def test_not_done_before_any_call_says_itself_that_none_was_made() -> None:
    """A screw that cannot be turned: the author's way for it is taken, and nothing is asked later."""
    visit = at_turn()
    visit.say("not done because it is stuck")
    assert (visit.state.status, visit.state.turn) == ("stopped", None)


def test_a_turn_is_asked_for_after_a_stop_and_not_advised_anew() -> None:
    """It may have been made before the stop: the same advice again would double it."""
    visit = at_turn()
    say(visit, "stop work", "put right", "a loose cover")
    answer_rechecks(visit)
    assert visit.state.text == "Turn made?"
    assert len(of_kind(visit.events, ev.Advised)) == 1


def test_a_wrong_turn_is_undone_after_the_stop_that_it_caused() -> None:
    """Before anything is lit again it is turned back; nothing fires then, so no value of its flue is asked for."""
    visit = only_maximum()
    say(visit, "clockwise one turn", "clockwise one turn", "over range")
    say(visit, "put right", "the screw was turned the wrong way")
    answer_rechecks(visit)
    assert visit.state.text == "Undo: counter-clockwise, one turn."
    undone = told(visit, "counter-clockwise one turn")
    assert undone == ["Undone.", "Purge wait by the manual: over, or waiting?"]


def answer_rechecks(visit: Rehearsal) -> None:
    """Answer what is asked again after a stop, as it was left."""
    for _ in range(12):
        question = visit.state.question
        if question.manner.asker not in {"recheck", "putting-back"}:
            return
        visit.say(question.played(AgreeingPlayer(visit.plan, visit.state)))


def test_without_any_reading_of_the_quantity_the_burner_is_switched_off() -> None:
    """Nobody knows what the turn did: asked once more, then stopped."""
    visit = only_maximum()
    said = told(visit, "clockwise one turn", "clockwise one turn", "dashes", "dashes")
    assert said[2:] == ["CO once more?", "Burner off now. Gas cock closed. Stay clear."]


def test_carbon_monoxide_over_the_makers_limit_stops_although_adjusting_could_go_on() -> None:
    """A number over a limit stops as over range does: the maker's 200 ppm air-free (demo sheet), at once."""
    visit = only_maximum()
    assert told(visit, "clockwise one turn", "clockwise one turn", "two hundred and fifty")[-1] == (
        "CO over the maker's limit. Burner off."
    )


def test_who_does_not_undo_it_is_stopped() -> None:
    """ "No turn" to the undoing: asked once more, then switched off."""
    visit = only_maximum()
    say(visit, "clockwise one turn", "clockwise one turn", "forty", "no turn")
    assert visit.state.text == "Undo: counter-clockwise, one turn."
    visit.say("no turn")
    assert visit.state.status == "stopped"


def test_the_wrong_way_again_is_added_to_what_must_be_undone() -> None:
    """Two turns the wrong way are undone by two, each called; the value is read again before."""
    visit = only_maximum()
    say(visit, "clockwise one turn", "clockwise one turn", "forty", "clockwise one turn")
    assert visit.state.text == "Say the turn again."
    assert told(visit, "clockwise one turn", "forty")[-1] == "Undo: counter-clockwise, one turn."
    assert told(visit, "counter clockwise one turn") == ["Undo: counter-clockwise, one turn."]
    assert told(visit, "counter clockwise one turn")[0] == "Undone."


def test_a_trade_that_names_no_quantity_to_watch_is_asked_for_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """The quantity is the trade's; without one the undoing comes at once."""
    visit = only_maximum()
    bare = replace(visit.plan.trade, adjusting=replace(visit.plan.trade.adjusting, watched=""))
    monkeypatch.setitem(visit.plan.__dict__, "trade", bare)
    assert told(visit, "clockwise one turn", "clockwise one turn")[-1] == "Undo: counter-clockwise, one turn."


def test_a_call_in_doubt_does_not_count_as_the_same_again() -> None:
    """The second hearing must be sure; unsure, it is said once more."""
    visit = at_turn()
    visit.say("clockwise one turn")
    decided = visit.take(utterance(visit, "clockwise one turn", confidence="0.300"))
    assert not of_kind(decided, ev.Turned)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("eighths", SIZES)
def test_the_keys_give_the_advised_turn_first_and_all_others(way: str, eighths: int) -> None:
    """Then no turn and its neighbours; what is called at any moment stands above the unlikely ones."""
    visit = at_turn()
    question = visit.state.question.model_copy(update={"direction": way, "eighths": eighths})
    visit.state = replace(visit.state, question=question)
    labels = [offer.text for offer in keypad(visit.plan, visit.state).offers]
    said = way.replace("-", " ")
    assert labels[0].startswith(said)
    assert labels[0] == f"{said} {visit.plan.catalogue.turns[eighths][0]}"
    turns = [label for label in labels if "clockwise" in label]
    assert len(turns) == len(set(turns)) == 2 * len(SIZES)
    assert labels[1] == "no turn"
    assert "wrong screw" in labels[:7]


CALLS = [f"{way.replace('-', ' ')} {size}" for way in WAYS for size in SIZES.values()]
ANSWERS = [
    *("no turn", "confirmed", "no", "that was wrong", "go back", "wrong screw", "maximum", "minimum"),
    *("c o was wrong", "twenty", "forty", "nine hundred", "dashes", "over range", "not done because of it"),
    *("hold on", "carry on", "say again"),
]


def within(advised: tuple[str, int], turned: ev.Turned) -> bool:
    """Say, without the code under test, whether a turn is within an advice at maximum."""
    same = turned.rate == "maximum" and turned.direction == advised[0]
    return turned.eighths == 0 or (same and turned.eighths <= advised[1])


@settings(max_examples=250, deadline=None)
@given(
    st.sampled_from(WAYS),
    st.sampled_from(sorted(SIZES)),
    st.lists(st.sampled_from(CALLS) | st.sampled_from(ANSWERS), min_size=1, max_size=25),
)
def test_any_call_is_within_the_advice_or_challenged_and_undone_or_stopped(
    way: str, eighths: int, lines: Sequence[str]
) -> None:
    """For any advice and any course: each screw is back where it was but for turns within the advice."""
    visit = at_turn(way, eighths)
    for line in lines:
        if visit.state.gate != "maximum-turn" or visit.state.status != "running":
            break
        visit.say(line)
    advised, owed = (way, eighths), 0
    for turned in of_kind(visit.events, ev.Turned):
        if turned.unlike or turned.undoes:
            owed += turned.eighths if turned.direction == "clockwise" else -turned.eighths
        else:
            assert within(advised, turned)
    turn, left = visit.state.turn, visit.state.gate != "maximum-turn"
    if owed:
        assert turn is not None
        assert turn.owed == owed
        assert not left
    elif left and visit.state.status == "running":
        assert turn is None
    first = next((turned for turned in of_kind(visit.events, ev.Turned) if turned.unlike), None)
    if first is not None:
        calls = of_kind(visit.events, ev.TurnCalled)
        assert sum(bool(call.unlike) for call in calls) >= 2
        assert not within(advised, first)
