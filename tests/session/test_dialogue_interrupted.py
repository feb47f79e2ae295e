"""After an interruption: what was altered, lit or held is asked again before the visit goes on."""

from __future__ import annotations

import pytest
from rehearsed import ROW, asked, at, of_kind, places, say, shipped

from handsfree.events import decisions as ev
from handsfree.gates.readings import ReadingsGate


@pytest.mark.parametrize("place", [key for key in places() if key[0]], ids="/".join)
def test_after_an_interruption_everything_is_asked_again(place: tuple[str, str]) -> None:
    """At every question: burner if it fires, the rate if it is held, every altered thing, before anything else."""
    visit = at(*place)
    gate = shipped().gate(place[0]).gate
    (begun,) = of_kind(visit.resume(), ev.RecheckBegun)
    wanted = (["burner"] if gate.firing else []) + (
        ["rate"] if isinstance(gate, ReadingsGate) and gate.rate else []
    )
    assert list(begun.items) == [*wanted, *visit.state.altered]
    for _ in begun.items:
        item = visit.state.rechecks[0]
        assert visit.state.question.kind in {"still-firing", "rate", "recheck-thing"}
        if item in {"burner", "rate"}:
            visit.say({"burner": "still firing", "rate": getattr(gate, "rate", "")}[item])
        else:
            visit.say(shipped().things[item].altered)
    assert visit.state.rechecks == ()
    assert visit.state.gate == place[0]


def test_an_interruption_starts_the_settle_clock_afresh() -> None:
    """The sets taken so far are void and the whole wait begins again."""
    visit = at("found-maximum")
    say(visit, ROW, "confirmed")
    visit.resume()
    assert "found-maximum" not in visit.state.sets
    say(visit, "still firing", "maximum")
    while visit.state.rechecks:
        visit.say(shipped().things[visit.state.rechecks[0]].altered)
    assert visit.state.question.kind == "waiting"
    assert visit.state.until is not None
    assert visit.state.until - visit.state.last_change == 180_000


def test_an_interruption_forgets_values_that_were_only_read_back() -> None:
    """They were never accepted, and the display has moved since."""
    visit = at("found-maximum")
    visit.say(ROW)
    visit.resume()
    assert visit.state.pending.values == {}


@pytest.mark.parametrize(
    "words", ["go back", "not done because it is late", "that was wrong", "c o two was wrong"]
)
def test_what_is_asked_after_an_interruption_cannot_be_left(words: str) -> None:
    """The recheck is finished first."""
    visit = at("final-temperatures")
    visit.resume()
    visit.say(words)
    assert visit.state.question.kind == "still-firing"


def test_the_burner_off_after_an_interruption_leads_back_to_the_hold() -> None:
    """Every altered thing is asked first, then the relight; a gate without a hold goes to the last one passed."""
    for gate, hold in (("found-maximum", "found-maximum-hold"), ("final-temperatures", "final-hold")):
        visit = at(gate)
        visit.resume()
        visit.say("burner is off")
        answered = 0
        while visit.state.rechecks:
            answered += 1
            visit.say(shipped().things[visit.state.rechecks[0]].altered)
        assert answered == len(visit.state.altered)
        assert (visit.state.gate, visit.state.question.kind) == (hold, "stop-step")
        say(visit, "wait over", "lit smoothly")
        assert (visit.state.gate, asked(visit.state)) == (hold, "gate")


def test_a_thing_found_restored_after_an_interruption_is_no_longer_altered() -> None:
    """Called fitted, the plug is fitted; a setting stays altered until its value proves it."""
    visit = at("put-back", "put-back")
    visit.resume()
    while visit.state.rechecks:
        item = visit.state.rechecks[0]
        visit.say("still firing" if item == "burner" else shipped().things[item].restored)
        if visit.state.question.kind == "thing-check" and visit.state.rechecks:
            visit.say("confirmed")
    assert set(visit.state.altered) == {"outdoor-reset", "set-point"}
    assert visit.state.question.thing == "outdoor-reset"
