"""Sets of readings: the wait before them, how many and how far apart, and the rate they are taken at."""

from __future__ import annotations

from itertools import pairwise

import pytest
from rehearsed import (
    DAY,
    ROW,
    at,
    first_row,
    of_kind,
    places,
    plan_with,
    play,
    say,
    shipped,
    spoken,
    technician,
    with_appliance,
)

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.outcomes import DROPPED_BACK
from handsfree.gates.readings import ReadingsGate
from handsfree.session.rehearsal import Rehearsal


def test_the_wait_is_silent_and_at_least_what_the_maker_asks() -> None:
    """From the last change to the first question: one forecast, then nothing said, never under 90 s."""
    visit = at("found-maximum", "waiting")
    change, began = visit.state.last_change, visit.state.now
    assert visit.state.until is not None
    assert visit.state.until - change == 180_000
    events = visit.wait()
    assert visit.state.now >= began
    assert [event.name for event in of_kind(events, ev.ToneSounded)] == ["attention"]
    assert spoken(events) == ["CO2, O2, CO?"]


def test_a_makers_longer_wait_counts() -> None:
    """The appliance sheet asks for five minutes: the tool waits five."""
    plan = plan_with(with_appliance(wait_after_change_seconds=300))
    visit = Rehearsal(plan, DAY)
    play(visit, technician(plan), until="found-maximum")
    assert visit.state.until is not None
    assert visit.state.until - visit.state.last_change == 300_000


def test_at_least_three_sets_thirty_seconds_apart() -> None:
    """Every settled place of a whole visit rests on three sets or more, half a minute apart."""
    whole = places()["", "end"].events
    taken: dict[str, list[int]] = {}
    settled = set()
    for event in whole:
        if isinstance(event, ev.SetVoided):
            taken.pop(event.kept_at, None)
        if isinstance(event, ev.SetTaken):
            taken.setdefault(event.kept_at, []).append(event.at)
        if isinstance(event, ev.ValueSettled) and event.kept_at not in settled:
            settled.add(event.kept_at)
            times = taken[event.kept_at]
            assert len(times) >= 3
            assert all(later - earlier >= 30_000 for earlier, later in pairwise(times))
    assert "found-maximum" in settled


def test_rising_carbon_monoxide_interrupts() -> None:
    """60, 100, 140 ppm in three sets: stopped as rising (trade journal, from 100 ppm), under any steady limit."""
    visit = at("found-maximum")
    for value in ("six zero", "one zero zero", "one four zero"):
        events = visit.say(f"nine three four four {value} maximum")
        for _ in range(6):
            if visit.state.question.kind in {"waiting", "stopped"}:
                break
            events = visit.say(value if visit.state.question.kind in {"once-more", "digits"} else "confirmed")
        if visit.state.status == "stopped":
            break
        visit.wait()
    (stop,) = of_kind(events, ev.Stopped)
    assert stop.why == "limit"
    assert stop.detail.startswith("rising-co ")


RATED = [
    (gate_id, placed)
    for gate_id, placed in shipped().procedure.gates.items()
    if isinstance(placed.gate, ReadingsGate) and placed.gate.rate is not None and (gate_id, "gate") in places()
]


@pytest.mark.parametrize(("gate_id", "placed"), RATED, ids=[gate_id for gate_id, _ in RATED])
def test_dropped_back_or_burner_out_voids_the_set_and_returns_to_the_hold(gate_id: str, placed: object) -> None:
    """At every gate with a rate, while its values stand read back."""
    for words in ("dropped back", "burner out"):
        visit = at(gate_id)
        say(visit, "repeat")
        events = visit.say(words)
        (void,) = of_kind(events, ev.SetVoided)
        assert void.kept_at == shipped().gate(gate_id).gate.point  # type: ignore[union-attr]
        assert visit.state.gate == shipped().gate(gate_id).transitions[DROPPED_BACK]
        if words == "burner out":
            say(visit, "a draught", "wait over", "lit smoothly")
        assert visit.state.status == "running"


def test_a_second_burner_out_stops() -> None:
    """No repeated resets: the second time in a visit stops the work (SAFETY A10, common practice)."""
    visit = at("found-maximum")
    say(visit, "burner out", "a draught", "wait over", "lit smoothly", "maximum held")
    visit.wait()
    (stop,) = of_kind(visit.say("burner out"), ev.Stopped)
    assert stop.why == "burner-out"


def test_dropped_back_is_taken_in_the_wait_and_on_hold() -> None:
    """The rate lost is never forgotten."""
    waiting = at("found-maximum", "waiting")
    waiting.say("dropped back")
    assert waiting.state.gate == "found-maximum-hold"
    held = at("found-maximum")
    say(held, "hold on", "dropped back")
    assert held.state.gate == "found-maximum-hold"


def test_a_set_ends_with_the_rate_called() -> None:
    """Left out it is asked; called wrong, at either end, it is asked; wrong again, the set is void."""
    row = "nine point three four point four one eight"
    opened = at("found-maximum")
    assert opened.plan.grammar(opened.state.question, opened.state.gate).automaton.accepts(row.split())
    visit = first_row(row)
    assert spoken(visit.say("confirmed")) == ["Rate?"]
    (taken,) = of_kind(visit.say("maximum"), ev.SetTaken)
    assert taken.kept_at == "found-maximum"
    for words in (ROW.replace("maximum", "minimum"), f"minimum {ROW}"):
        visit = first_row(words)
        assert spoken(visit.say("confirmed")) == ["Rate?"]
        visit.say("minimum")
        assert visit.state.gate == "found-maximum-hold"


def test_the_hold_is_given_up_when_its_time_has_run_out() -> None:
    """After the sheet's thirty minutes the control lets go by itself: the set is void, the hold is asked again."""
    visit = at("found-maximum", "waiting")
    visit.take(inp.TimePassed(at=visit.state.now + 31 * 60_000))
    assert visit.state.gate == "found-maximum-hold"
    voids = [event.why for event in of_kind(visit.events, ev.SetVoided)]
    assert voids[-1] == "the hold's time has run out"


def test_a_reading_unknown_in_some_sets_is_not_taken_for_settled() -> None:
    """Dashes, then two numbers: two are not three, so another set is asked for."""
    visit = at("found-maximum")
    for co2 in ("dashes", "nine point four", "nine point four"):
        for words in (f"{co2} four point four one eight maximum", "confirmed"):
            visit.say(words)
        while visit.state.question.kind != "waiting":
            visit.say("confirmed")
        visit.until_asking()
    assert visit.state.gate == "found-maximum"
    assert not of_kind(visit.events[len(at("found-maximum").events) :], ev.ValueSettled)
