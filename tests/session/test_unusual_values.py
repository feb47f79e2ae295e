"""No odd number is accepted in silence: it is asked about, and kept only by a second confirmation."""

from __future__ import annotations

from decimal import Decimal

import pytest
from rehearsed import at, of_kind, plan_with, say, shipped, spoken, twin, with_appliance, with_fuel

from handsfree.events import decisions as ev
from handsfree.events.record import Event
from handsfree.procedure.trades import trade_data
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.sheets import MakerBand, Sheets


def accepted(events: tuple[Event, ...] | list[Event]) -> dict[str, tuple[str, str]]:
    return {one.reading.quantity: (one.reading.value, one.unusual) for one in of_kind(events, ev.ReadingAccepted)}


STORIES = [
    ("water-pressure", "zero point two", "Unusual: water pressure zero point two. Keep it?"),
    ("lockup-pressure", "four five point zero", "Unusual: lock-up four five point zero. Keep it?"),
    (
        "found-maximum-signals",
        "five four zero zero zero point three",
        "Unusual: flame current zero point three. Keep it?",
    ),
    (
        "found-maximum-draught",
        "minus zero point zero four four point nine zero",
        "Unusual: vent pressure four point nine zero. Keep it?",
    ),
    ("found-maximum-temperatures", "five eight one nine four one six two", "Unusual: return above flow. Keep it?"),
    (
        "found-maximum-temperatures",
        "five eight one nine four one nine five",
        "Unusual: return nine five. Keep it?",
    ),
    ("meter-pressure", "one eight point zero zero point eight", "Unusual: meter pressure below inlet. Keep it?"),
    ("meter-pressure", "two zero point six five point eight", "Unusual: drop five point eight. Keep it?"),
    ("meter-pressure", "two one point nine zero point eight", "Unusual: drop is not meter less inlet. Keep it?"),
]
"""What was accepted in silence before."""


@pytest.mark.parametrize(
    ("gate", "words", "asked"), STORIES, ids=[f"{gate}: {words}" for gate, words, _ in STORIES]
)
def test_an_odd_number_is_asked_about_after_it_was_confirmed(gate: str, words: str, asked: str) -> None:
    """Nothing of it counts before the second yes; then the record holds why it was asked about."""
    visit = at(gate)
    events = say(visit, words, "confirmed")
    assert asked in spoken(events)
    assert not any(unusual for _, unusual in accepted(events).values())
    held = set(visit.state.pending.values)
    assert held
    kept: list[Event] = []
    while visit.state.question.kind == "keep-it":
        kept += visit.say("keep that value")
    assert set(accepted(kept)) == held
    assert any("common practice" in unusual or "memory" in unusual for _, unusual in accepted(kept).values())


def test_a_usual_number_is_not_asked_about() -> None:
    """The demo's own values pass as before."""
    visit = at("meter-pressure")
    assert set(accepted(say(visit, "two zero point six zero point eight", "confirmed"))) == {
        "meter_pressure",
        "pressure_drop",
    }


def test_a_denied_number_is_called_anew() -> None:
    """ "No" to "keep it?" takes nothing."""
    visit = at("water-pressure")
    assert spoken(say(visit, "zero point two", "confirmed", "no")) == ["water pressure?"]
    assert accepted(say(visit, "one point two", "confirmed")) == {"water_pressure": ("1.2", "")}


def test_another_number_takes_its_place() -> None:
    """The misread value is corrected in one breath."""
    visit = at("water-pressure")
    say(visit, "zero point two", "confirmed", "no one point two")
    assert accepted(visit.say("confirmed")) == {"water_pressure": ("1.2", "")}


def test_silence_keeps_nothing() -> None:
    """The question is asked again."""
    visit = at("water-pressure")
    say(visit, "zero point two", "confirmed")
    for _ in range(3):
        assert accepted(visit.wait()) == {}
    assert visit.state.question.kind == "keep-it"


def test_a_stop_comes_first() -> None:
    """A flue at 135 (the maker's limit is 90) with a return above the flow: the stop, and no other question."""
    visit = at("found-maximum-temperatures")
    events = say(visit, "one three five one nine four one nine five", "confirmed")
    assert "Flue too hot. Burner off." in spoken(events)
    assert visit.state.status == "stopped"


def beginning_at(gate: str, sheets: Sheets) -> Rehearsal:
    """Return a visit of other sheets that stands where one of the demo's does."""
    visit = twin(at(gate))
    visit.plan = plan_with(sheets)
    return visit


def test_the_makers_range_stands_in_place_of_what_is_usual() -> None:
    """2.0 bar is usual, and outside this maker's 0.8 to 1.5; 0.8 is in it, on the edge."""
    sheets = with_appliance(water_pressure=MakerBand(low=Decimal("0.8"), high=Decimal("1.5"), page=12))
    visit = beginning_at("water-pressure", sheets)
    events = say(visit, "two point zero", "confirmed")
    assert spoken(events) == ["Outside the maker's range: water pressure two point zero. Keep it?"]
    (kept,) = accepted(visit.say("keep that value")).values()
    assert kept == ("2.0", "above 1.5 (larkmoor-24-installation.pdf, page 12, revision invented A)")
    visit = beginning_at("water-pressure", sheets)
    assert accepted(say(visit, "zero point eight", "confirmed")) == {"water_pressure": ("0.8", "")}


def test_a_range_of_the_fuel_is_the_makers_too() -> None:
    """Lock-up 24 mbar at a maker who allows 23."""
    visit = beginning_at("lockup-pressure", with_fuel(lockup_pressure=MakerBand(high=Decimal(23), page=37)))
    assert "Outside the maker's range" in spoken(say(visit, "two four point zero", "confirmed"))[-1]


def test_every_expectation_names_its_source() -> None:
    """A figure without one is marked "common practice, no source"."""
    data = trade_data("combustion")
    sources = [one.expected.source for one in data.quantities.values() if one.expected is not None]
    sources += [one.source for one in data.relations.values()]
    assert len(sources) > 10
    assert all("common practice, no source" in one or "from memory" in one for one in sources)
    assert set(shipped().catalogue.relations) == set(data.relations)


def test_carbon_monoxide_has_no_expectation() -> None:
    """A CO value is never weighed: limits judge it."""
    data = trade_data("combustion")
    assert data.quantities["co"].expected is None
    assert data.quantities["ambient_co"].expected is None
