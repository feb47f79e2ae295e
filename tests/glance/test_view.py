"""The picture over a whole recorded visit: it says what the record says, at every entry."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from rehearsed import at, hear, of_kind, places, say, shipped, utterance

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.glance.notes import Notes, noticed
from handsfree.glance.picture import Glance, HearingStatus, Seal
from handsfree.glance.view import glance
from handsfree.session.apply import apply
from handsfree.session.rehearsal import Rehearsal


@cache
def recorded() -> tuple[tuple[State, Notes, Any], ...]:
    """Return state and notes after every entry of the whole visit, with the entry."""
    state, notes, found = State(), Notes(), []
    for event in places()["", "end"].events:
        state, notes = apply(shipped(), state, event), noticed(notes, [event])
        found.append((state, notes, event))
    return tuple(found)


@cache
def pictures() -> tuple[tuple[State, Any, Glance], ...]:
    """Return what is shown after every entry at a gate, with its state and the entry."""
    return tuple(
        (state, event, glance(shipped(), state, state.now, notes))
        for state, notes, event in recorded()
        if state.gate
    )


def of(visit: Rehearsal, *, later_ms: int = 0, **other: Any) -> Glance:
    notes = noticed(Notes(), visit.events)
    return glance(visit.plan, visit.state, visit.state.now + later_ms, notes, **other)


def test_everything_still_altered_is_there_and_nothing_else() -> None:
    """At every entry, by name and state, as the events altered and restored it."""
    altered: dict[str, tuple[str, str]] = {}
    things = shipped().things
    checked = 0
    for _, event, picture in pictures():
        if isinstance(event, ev.Altered):
            altered[event.thing] = (things[event.thing].altered, things[event.thing].said)
        elif isinstance(event, ev.Restored):
            altered.pop(event.thing, None)
        shown = picture.altered.text
        groups = dict(group.split(": ") for group in shown.partition("  ")[2].split("; ")) if altered else {}
        assert {(one, thing.rpartition(" ")[0]) for one in groups for thing in groups[one].split(", ")} == {
            *altered.values()
        }
        assert shown.startswith(f"{len(altered)}  " if altered else "nothing")
        checked += len(altered)
    assert checked > 5_000


def test_the_gate_and_what_to_do_are_those_of_the_record() -> None:
    """Number, title and question; in a wait how long, at a read-back the values themselves."""
    gates = list(shipped().procedure.gates)
    state = State()
    for state, event, picture in pictures():  # noqa: B007 - the last one is looked at
        if isinstance(event, ev.GateEntered):
            assert picture.gate == f"Gate {gates.index(event.gate) + 1} of {len(gates)}: {event.title}"
        if isinstance(event, ev.Asked):
            expected = {"read-back": "Correct?", "waiting": "Wait "}.get(event.question.kind)
            assert picture.headline.startswith(expected if expected is not None else event.text)
        if isinstance(event, ev.ReadBack):
            shown = {(value.name, value.value) for value in picture.values}
            assert {(shipped().name(one.quantity), one.value) for one in event.values} <= shown
    assert state.gate == "finished"
    assert picture.condition == "finished"
    assert picture.headline == "Finished. Everything restored."


def test_what_was_typed_stands_there_with_what_became_of_it() -> None:
    """After each answer of the visit; and what was not understood says so and why."""
    for _, event, picture in pictures():
        if isinstance(event, inp.Typed):
            assert f"“{event.text}”" in picture.heard.text
    visit = at("found-maximum")
    say(visit, "banana")
    assert of(visit).heard.alarming
    assert "“banana” NOT UNDERSTOOD: no answer to this" in of(visit).heard.text


def test_what_was_heard_in_doubt_says_so() -> None:
    """The doubt of the session, in its words; clipping and lost sound are told to the person."""
    visit = at("found-maximum")
    hear(visit, ("nine point three four point four one eight maximum", "0"), ("[unk]", "-0.1"), clipped=True)
    picture = of(visit, sound=HearingStatus(listening=True, voice_db=8.0))
    assert "in doubt" in picture.heard.text
    assert "TOO LOUD" in picture.sound.text
    assert "voice 8 dB over noise, TOO NOISY" in picture.sound.text
    assert picture.sound.alarming


def test_verdicts_stand_until_the_next() -> None:
    """The sentence of the record with its outcome; one that is not within is marked by a sign as well."""
    last = None
    for _, event, picture in pictures():
        last = event if isinstance(event, ev.VerdictGiven) else last
        if last is not None:
            assert picture.verdict.text.startswith(last.sentence.partition(" (")[0])
            assert not last.demonstrated or last.outcome.replace("-", " ") in picture.verdict.text
            assert picture.verdict.alarming == (last.outcome != "within")
    assert last is not None


def test_the_bar_runs_out_exactly_when_the_next_set_is_asked_for() -> None:
    """For every wait of the visit: full at its beginning, empty at its end, never growing."""
    waits = 0
    for kept in places().values():
        state = kept.state
        if state.question.kind != "waiting" or state.until is None:
            continue
        waits += 1
        notes = noticed(Notes(), kept.events)
        left = [
            glance(kept.plan, state, now, notes).bar
            for now in range(state.now, state.until + 1, max(1, (state.until - state.now) // 20))
        ]
        shares = [bar.gone for bar in left if bar is not None]
        assert len(shares) == len(left)
        assert shares == sorted(shares)
        assert shares[0] < 0.2
        end = glance(kept.plan, state, state.until, notes)
        assert end.bar is not None
        assert (end.bar.left_ms, end.bar.gone, end.headline) == (0, 1.0, "Wait 0:00")
    assert waits >= 5


def test_settled_and_moving_values_say_so() -> None:
    """As the judgement of the last set found them, quantity by quantity."""
    seen = set()
    judged: dict[str, bool] = {}
    for state, event, picture in pictures():
        if isinstance(event, ev.GateEntered | ev.SetVoided):
            judged = {}
        elif isinstance(event, ev.SettlingJudged):
            judged[event.quantity] = event.settled
        if state.question.kind == "waiting" and judged:
            for value in picture.values:
                quantity = next(
                    q for q, known in shipped().catalogue.quantities.items() if known.said == value.name
                )
                assert (value.stands == "settled") == judged[quantity]
                seen.add(value.stands)
    assert {"settled", "still rising"} <= seen


def test_a_firing_gate_counts_down_to_the_alarm_and_the_stop() -> None:
    """The bar is empty when the alarm sounds, and the banner then says to answer."""
    visit = at("found-maximum")
    bar = of(visit).bar
    assert bar is not None
    due = visit.state.silent_since + 60_000
    assert bar.left_ms == due - visit.state.now
    while not visit.state.alarmed:
        visit.wait()
    assert visit.state.now >= due
    assert of(visit).banner == "Answer now."


@pytest.mark.parametrize("phrase", ["stop work", "gas smell", "c o alarm", "feel ill"])
def test_a_stopped_visit_is_unmistakable(phrase: str) -> None:
    """The banner, the script as the headline, why, and what is still altered."""
    visit = at("found-maximum")
    decided = say(visit, phrase)
    (stopped,) = of_kind(decided, ev.Stopped)
    picture = of(visit)
    assert (picture.condition, picture.banner) == ("stopped", "STOPPED")
    assert picture.headline == stopped.script
    assert stopped.detail in picture.remark
    for thing in stopped.still_altered:
        assert shipped().things[thing].said in picture.altered.text
    assert not [key for key in picture.keys if key.does == "STOP"]


def test_a_value_called_a_second_time_is_out_of_sight() -> None:
    """The second call is to be independent of the first."""
    visit = at("found-maximum")
    say(visit, "9.3 4.4 2500")
    say(visit, "confirmed") if visit.state.question.kind == "read-back" else None
    visit = at("ambient-entry")
    visit.take(utterance(visit, ("one two", "0"), ("one three", "-0.2")))
    while visit.state.question.kind == "read-back":
        visit.say("confirmed")
    assert visit.state.question.kind in {"once-more", "digits"}
    assert visit.state.pending.values["ambient_co"].value == "12"
    assert [value.value for value in of(visit).values] == [""]


def test_a_lost_microphone_and_a_failed_disk_are_told_in_words() -> None:
    """Each in a line marked by a sign, and over the whole picture."""
    visit = at("found-maximum")
    visit.take(inp.DeviceLost(at=visit.state.now + 10, device="microphone"))
    picture = of(visit, sound=HearingStatus(listening=True))
    assert "LOST: microphone" in picture.sound.text
    assert picture.banner == "NOT HEARING"
    picture = of(visit, seal=Seal(12, "123 456", failure="the disk is full"))
    assert picture.banner == "NOT RECORDED: DISK FAILED"
    assert "the disk is full" in picture.seal.text
    assert picture.seal.alarming


def test_sound_too_poor_to_be_led_by_is_told_until_something_is_heard_again() -> None:
    """The tool's own sentence, and the noise in figures."""
    visit = at("found-maximum")
    poor = inp.SoundPoor(
        at=visit.state.now + 10, fault="too-noisy", noise_db=Decimal("-21.5"), speech_db=None, lost_blocks=0
    )
    visit.take(poor)
    assert "Too noisy. Use the keys." in of(visit).sound.text
    assert "-21.5 dB" in of(visit).sound.text
    hear(visit, "nine point three four point four one eight maximum")
    assert "Too noisy" not in of(visit).sound.text


def test_a_visit_on_hold_says_so_and_offers_only_the_way_on() -> None:
    """Enter alone does not carry on."""
    visit = at("found-maximum")
    say(visit, "hold on")
    picture = of(visit)
    assert (picture.condition, picture.banner) == ("held", "ON HOLD")
    assert picture.offers[0] == "carry on"
    assert not [key for key in picture.keys if key.key == "Enter"]


def test_nothing_of_the_picture_says_safe() -> None:
    """At no entry of the visit, in no line."""
    for _, _, picture in pictures():
        assert "safe" not in str(picture).lower().replace("make-safe", "")
