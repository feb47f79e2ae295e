"""Time to work: silence counts from its end; more time is a little at a go, and never where nobody may leave."""

from __future__ import annotations

import pytest
from rehearsed import at, of_kind, places, say, shipped, spoken, with_appliance

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.session.apply import apply
from handsfree.session.apply_stops import LONG_PAUSE_MS
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.session.silence import alarm_at, deadline

MINUTE = 60_000

TAKES_MINUTES = {
    "light-again": 2, "final-light-ups": 5, "leak-test-firing": 5, "high-limit": 5, "low-water": 4,
    "normal-cycle": 7, "flame-failure": 3, "blocked-vent": 3, "flue-plug-leak": 2, "meter-pressure": 2,
}  # fmt: skip
"""Work at a firing burner and the minutes that it takes: common practice, no source."""


def until(visit: Rehearsal, minutes: float) -> list[ev.Decision]:
    """Let the visit's time pass, every deadline in it acted on, and return what was decided."""
    end = visit.state.now + round(minutes * MINUTE)
    decided: list[ev.Decision] = []
    while (due := deadline(visit.plan, visit.state)) is not None and due <= end:
        decided += visit.take(inp.TimePassed(at=due))
    visit.take(inp.TimePassed(at=end))
    return decided


@pytest.mark.parametrize("gate", TAKES_MINUTES)
def test_work_that_takes_minutes_is_not_alarmed_at_nor_asked_about(gate: str) -> None:
    visit = at(gate)
    decided = until(visit, TAKES_MINUTES[gate])
    assert not of_kind(decided, ev.ToneSounded)
    assert not spoken(decided)


def firing() -> list[tuple[str, str]]:
    """Return every question of the visit that is asked while the burner fires, by gate and kind."""
    asked = (key for key in places() if key[0] and key[1] != "waiting")
    return sorted(key for key in asked if shipped().gate(key[0]).gate.firing)


@pytest.mark.parametrize("place", firing(), ids="/".join)
def test_whoever_falls_silent_at_a_firing_gate_is_alarmed_at_in_time(place: tuple[str, str]) -> None:
    """At every question of a firing gate: at most a quarter of an hour of work, a minute, and ten seconds."""
    visit = at(*place)
    work = shipped().work_ms(place[0])
    decided = until(visit, (work + 5 * MINUTE) / MINUTE)
    assert [one.name for one in of_kind(decided, ev.ToneSounded)][:1] == ["alarm"], place
    assert of_kind(decided, ev.Stopped)[0].why == "no-answer"
    assert work <= 15 * MINUTE


def test_the_sheets_own_times_count_when_they_are_longer() -> None:
    plan = Plan(shipped().procedure, with_appliance(times_seconds={"purge": 170, "cycle": 100}))
    assert plan.work_ms("final-light-ups") == 5 * 170_000
    assert plan.work_ms("normal-cycle") == 600_000
    slow = Plan(shipped().procedure, with_appliance(times_seconds={"cycle": 7200}))
    assert slow.work_ms("normal-cycle") == 15 * MINUTE


def test_more_time_is_three_minutes_at_a_go_and_read_back() -> None:
    visit = at("working-pressure")
    events = say(visit, "give me ten minutes")
    assert spoken(events) == ["Three minutes. Longer: burner off first."]
    assert not until(visit, 2.9)
    assert [one.name for one in of_kind(until(visit, 0.2), ev.ToneSounded)] == ["alarm"]
    again = at("working-pressure")
    for _ in range(4):
        say(again, "more time")
        assert not until(again, 2.5)
    assert again.state.status == "running"


def test_more_time_runs_out_at_the_next_answer() -> None:
    """Who asked for it, answers and then falls silent is alarmed at as ever."""
    visit = at("working-pressure")
    say(visit, "more time")
    say(visit, "two zero point zero maximum", "confirmed")
    assert visit.state.gate == "meter-pressure"
    assert visit.state.granted_until == 0


def test_no_more_time_with_the_cover_off() -> None:
    visit = at("maximum-hold")
    altered = ev.Altered(at=visit.state.now, thing="cover", gate="maximum-hold")
    visit.state = apply(visit.plan, visit.state, altered)
    events = say(visit, "more time")
    assert spoken(events) == ["Cover removed. No more time."]
    assert not of_kind(events, ev.MoreTime)


def test_no_more_time_while_co_rises() -> None:
    """Two sets, the second higher in CO by what is no stop limit yet."""
    visit = at("found-maximum")
    say(visit, "nine point three four point four one eight maximum", "confirmed")
    visit.until_asking()
    say(visit, "nine point three four point four three eight maximum", "confirmed")
    visit.until_asking()
    events = say(visit, "more time")
    assert spoken(events) == ["CO rising. No more time."]


def test_where_nothing_fires_more_time_only_keeps_the_tool_quiet() -> None:
    visit = at("permission")
    assert spoken(say(visit, "more time")) == ["Three minutes more."]
    assert not until(visit, 3.0)


def test_a_hold_costs_one_question_when_firing_and_none_when_not() -> None:
    for gate, questions in (("cover-off", 0), ("heat-exchanger", 0), ("flame-sound", 1), ("found-minimum", 1)):
        visit = at(gate)
        before = visit.state.question
        say(visit, "hold on")
        visit.take(inp.TimePassed(at=visit.state.now + LONG_PAUSE_MS + MINUTE))
        say(visit, "carry on")
        asked = 0
        while visit.state.question != before and visit.state.question.kind != "waiting":
            say(visit, "still firing")
            asked += 1
        assert asked == questions, gate


def test_a_rate_lost_during_a_hold_leads_back_to_where_it_is_held() -> None:
    visit = at("found-minimum")
    say(visit, "hold on")
    visit.take(inp.TimePassed(at=visit.state.now + LONG_PAUSE_MS + MINUTE))
    say(visit, "carry on", "dropped back")
    assert visit.state.gate == "minimum-hold"


def test_an_expected_burner_out_is_the_answer_and_no_hazard() -> None:
    for gate in ("high-limit", "low-water", "gas-pressure-switch", "blocked-vent", "flow-switch", "flame-failure"):
        visit = at(gate)
        events = say(visit, "burner out")
        assert of_kind(events, ev.GatePassed)[0].outcome == "proven", gate
        assert of_kind(events, ev.WentOut)[0].expected
        assert visit.state.went_out == 0
        assert visit.state.status == "running"
    elsewhere = at("flame-sound")
    say(elsewhere, "burner out")
    assert elsewhere.state.status == "stopped"


@pytest.mark.parametrize("first", ["stop work", "hold on", "resumed"])
def test_what_goes_out_while_the_gate_does_not_ask_proves_nothing(first: str) -> None:
    """Stopped, on hold or asked afresh what runs: a burner that goes out then is no proof of the limit."""
    visit = at("high-limit")
    if first == "resumed":
        visit.take(inp.Resumed(at=visit.state.now + 1000, program="0.1.0"))
    else:
        say(visit, first)
    assert visit.state.gate == "high-limit"
    events = say(visit, "burner out")
    assert not [one for one in of_kind(events, ev.WentOut) if one.expected]
    assert not of_kind(events, ev.GatePassed)


def test_values_are_asked_for_again_after_half_a_minute_and_other_questions_after_a_quarter() -> None:
    """A technician at the display is left alone; the alarm at a firing gate comes no later for that."""
    readings, choice = at("found-maximum"), at("site")
    for visit, ms in ((readings, 30_000), (choice, 15_000)):
        visit.until_asking()
        work = shipped().work_ms(visit.state.gate)
        begun = max(visit.state.asked_at, visit.state.silent_since + work)
        assert deadline(visit.plan, visit.state) == begun + ms
    assert alarm_at(readings.plan, readings.state) - readings.state.silent_since == MINUTE
