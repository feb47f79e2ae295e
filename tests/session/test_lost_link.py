"""Ten seconds without sound at a firing gate is a lost link, and stops the work (SAFETY: voice link lost)."""

from __future__ import annotations

from dataclasses import replace

from rehearsed import at, spoken

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp


def test_a_lost_link_stops_what_fires() -> None:
    """With the order of a stop, once, and the stopped state is a stay: the way down follows."""
    visit = at("found-maximum")
    events = visit.take(inp.DeviceLost(at=visit.state.now, device="link"))
    (stopped,) = [event for event in events if isinstance(event, ev.Stopped)]
    assert (stopped.why, stopped.by) == ("link-lost", "silence")
    assert any("Burner off now." in text for text in spoken(events))
    assert visit.state.status == "stopped"
    assert visit.take(inp.DeviceFound(at=visit.state.now, device="link")) == ()
    assert visit.take(inp.DeviceLost(at=visit.state.now, device="link")) == ()


def test_a_lost_link_where_nothing_fires_changes_nothing() -> None:
    """The lost microphone was told before; the link adds nothing."""
    visit = at("cover-off")
    assert visit.take(inp.DeviceLost(at=visit.state.now, device="link")) == ()
    assert visit.state.status == "running"
    assert "link" in visit.state.lost


def test_what_was_lost_before_stops_the_work_where_something_fires() -> None:
    """Keys may lead on without the phone's sound, but never to a flame that nobody could call out about."""
    visit = at("maximum-hold")
    visit.state = replace(visit.state, lost=frozenset({"link"}))
    (stopped,) = [event for event in visit.say("say again") if isinstance(event, ev.Stopped)]
    assert stopped.why == "link-lost"


def test_a_program_that_goes_on_asks_for_the_link_anew() -> None:
    visit = at("cover-off")
    visit.take(inp.DeviceLost(at=visit.state.now, device="link"))
    visit.resume()
    assert "link" not in visit.state.lost
