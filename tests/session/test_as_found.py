"""A setting as found: the value that stood before its thing was altered, whatever is read there later."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest
from rehearsed import asked, at, of_kind, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.session.apply import after, apply
from handsfree.session.rehearsal import Rehearsal

RESET = "outdoor-reset"


def found(visit: Rehearsal) -> str:
    return visit.state.found[RESET].value


def back_after_altering() -> Rehearsal:
    """Return a visit gone back to "reset as found" after the reset was raised, and proven put back."""
    visit = at("reset-raised")
    say(visit, "raised", "go back", "go back", "restored", "one point five", "confirmed")
    assert (visit.state.gate, asked(visit.state)) == ("reset-as-found", "gate")
    return visit


def put_back_asked(visit: Rehearsal) -> None:
    """Raise the reset once more and go back to where it is needed restored."""
    say(visit, "raised", "go back", "go back", "restored")
    assert visit.state.question.kind == "put-back"


def test_another_value_read_after_altering_does_not_replace_the_one_found() -> None:
    """It stands in the record as a reading, it is told at once, and 1.5 is still what must be put back."""
    visit = back_after_altering()
    say(visit, "one point six")
    events = visit.say("confirmed")
    (read,) = of_kind(events, ev.ReadingAccepted)
    assert (read.kept_at, read.reading.value) == ("reset-found", "1.6")
    assert not of_kind(events, ev.FoundValue)
    assert spoken(events)[0] == "Altered since. As found stays one point five."
    assert found(visit) == "1.5"
    put_back_asked(visit)
    assert spoken(visit.say("one point six"))[0] == "Found at one point five. Put it back."
    assert RESET in visit.state.altered
    say(visit, "one point five", "confirmed")
    assert RESET not in visit.state.altered


def test_the_same_value_read_after_altering_needs_no_word() -> None:
    """Nothing is told that the person knows."""
    visit = back_after_altering()
    say(visit, "one point five")
    events = visit.say("confirmed")
    assert not of_kind(events, ev.Said)
    assert found(visit) == "1.5"


@pytest.mark.parametrize("way", ["go back", "that was wrong"])
def test_a_correction_before_altering_replaces_it(way: str) -> None:
    """Nothing has been changed yet: what is read now is as found."""
    visit = at("reset-raised")
    say(visit, way, "one point six", "confirmed")
    assert found(visit) == "1.6"
    put_back_asked(visit)
    assert spoken(visit.say("one point five"))[0] == "Found at one point six. Put it back."


def test_a_setting_first_read_after_altering_is_not_as_found() -> None:
    """Altered without having been read, it cannot be made up for: no as-found value is claimed."""
    visit = at("reset-raised")
    visit.state = replace(visit.state, found=MappingProxyType({}))
    say(visit, "raised", "go back", "go back", "restored", "one point two", "confirmed", "one point two")
    events = visit.say("confirmed")
    assert of_kind(events, ev.ReadingAccepted)
    assert not of_kind(events, ev.FoundValue)
    assert spoken(events)[0] == "Altered since: not as found."
    assert RESET not in visit.state.found


@pytest.mark.parametrize("words", ["dashes", "over range"])
def test_what_is_no_number_is_not_taken_for_a_setting(words: str) -> None:
    """Nothing could be put back to it: asked once more, and called twice as after any value that cannot be."""
    visit = at("reset-as-found")
    (refused,) = of_kind(visit.say(words), ev.ReadingRefused)
    assert refused.why == "a setting is a number"
    assert visit.state.question.kind == "once-more"
    say(visit, "one point five", "confirmed", "one point five")
    assert found(visit) == "1.5"
    assert visit.state.gate == "reset-raised"


def test_a_setting_without_a_number_can_be_left_undone() -> None:
    """With the reason; then the thing is not altered either."""
    visit = at("reset-as-found")
    say(visit, "dashes", "not done because the display is dark")
    assert visit.state.gate == "set-point-as-found"
    assert RESET not in visit.state.found


def test_an_older_record_keeps_the_first_value_too() -> None:
    """A visit resumed from a record that named a later one as found asks for the first."""
    visit = back_after_altering()
    first = visit.state.found[RESET]
    later = ev.FoundValue(thing=RESET, reading=first.model_copy(update={"value": "1.6"}))
    assert apply(shipped(), visit.state, later).found[RESET] == first


def test_recovery_gives_the_same_value() -> None:
    """Only applying the recorded events gives the state that was there."""
    visit = back_after_altering()
    say(visit, "one point six", "confirmed")
    assert after(visit.plan, State(), tuple(visit.events)).found == visit.state.found
