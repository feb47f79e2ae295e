"""After a stop: outside first, then back in step by step; no reason alone leads on. Each story word for word.

What is asked after which stop: `../shared/SAFETY.md` F, written in `handsfree/trades/*/hazards.yaml`.
"""

from __future__ import annotations

from rehearsed import at, hear, of_kind, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.session.rehearsal import Rehearsal

CATALOGUE = shipped().catalogue
STOPS = CATALOGUE.stops
FIRING = ("found-maximum", "gate")
GAS = CATALOGUE.hazards["gas-smell"].script
LEAVE = [name for name, stop in STOPS.stops.items() if stop.people == "leave"]
STAY = [name for name, stop in STOPS.stops.items() if stop.people == "stay" and name in CATALOGUE.hazards]


def story(visit: Rehearsal, *beats: tuple[str, str]) -> Rehearsal:
    """Say each beat and compare what the tool says then; a beat that begins with "!" is heard, not typed."""
    for words, tool in beats:
        events = hear(visit, words[1:]) if words.startswith("!") else visit.say(words)
        assert spoken(events) == [tool], words
    return visit


def test_the_story_of_a_gas_smell() -> None:
    """Word for word: the order, "Carry on." refused by the order, "Outside.", then who is inside."""
    visit = story(
        at(*FIRING),
        ("!gas smell", GAS),
        ("Carry on.", GAS),
        ("it was misheard", GAS),
        ("Outside.", "Emergency control: closed, or not reached?"),
        ("control closed", "Who is inside?"),
        ("nobody inside", "Call made: to whom?"),
        ("the gas emergency service", "Stay outside. Put right, or leave it off?"),
        ("put right", "Gas supply: still off, or on again?"),
        ("on again", "Gas supply: still off, or on again?"),
        ("still off", "Released by emergency service, responsible person, or nobody?"),
        ("nobody yet", "Released by emergency service, responsible person, or nobody?"),
        ("emergency service", "Building aired, or not yet?"),
        ("building aired", "Gas detector, from the door inwards: silent, or sounding?"),
        ("detector silent", "Source: repaired, or not found?"),
        ("source repaired", "Tightness test: steady, or dropping?"),
    )
    visit.say("test steady")
    assert visit.state.status == "running"
    say(visit, *_rechecked(visit))
    assert visit.state.text == "Gas line: purged, or not yet?"
    story(visit, ("line purged", "Light up, watch it. Lit smoothly, or rough?"))
    visit.say("lit smoothly")
    assert (visit.state.gate, visit.state.text) == ("found-maximum-hold", "Hold maximum again.")


def _rechecked(visit: Rehearsal) -> list[str]:
    return [shipped().things[thing].altered for thing in visit.state.rechecks]


def test_a_room_read_beyond_its_limit_on_the_way_back_sends_out_again() -> None:
    """100 ppm: everyone out (trade journal; testing guideline), and nothing is asked until "outside"."""
    visit = at(*FIRING)
    say(
        visit,
        "carbon monoxide alarm",
        "outside",
        "control closed",
        "nobody inside",
        "them",
        "put right",
        "switched off",
    )
    assert spoken(visit.say("one hundred and twenty")) == [CATALOGUE.limits["ambient-co-evacuate"]]
    assert visit.state.question.kind == "outside"


def test_the_story_of_a_shock_that_turns_into_gas() -> None:
    """Gas outranks the shock's "power off"; who comes back walks the steps of both."""
    visit = story(
        at("wiring"),
        ("!i got a shock", CATALOGUE.hazards["electric-shock"].script),
        ("!gas smell", GAS),
        ("!i got a shock", GAS),
        ("outside", "Emergency control: closed, or not reached?"),
    )
    say(visit, "control closed", "nobody inside", "them")
    visit.say("put right")
    halt = visit.state.halt
    assert halt is not None
    assert set(halt.left) == {*STOPS.stops["gas-smell"].re_entry, *STOPS.stops["electric-shock"].re_entry}


def beyond_the_limit() -> Rehearsal:
    visit = at(*FIRING)
    hear(visit, "nine three four four nine zero zero maximum")
    say(visit, "confirmed")
    return visit


def test_a_value_that_was_misheard_is_called_once_more_off_the_display() -> None:
    """Below every limit now: the shortest way back, which asks what burns; the record says it was misheard."""
    visit = story(
        beyond_the_limit(),
        ("it was misheard", "CO2, off the display?"),
        ("nine three", "O2, off the display?"),
        ("four four", "CO, off the display?"),
        ("one eight", "Burner: firing, or out?"),
    )
    (back,) = of_kind(visit.events, ev.ReEntered)
    assert back.how == "misheard"
    assert spoken(visit.say("out"))[-1] == "Purge wait by the manual: over, or waiting?"


def test_a_value_that_stands_on_the_display_stops_again_and_was_not_misheard() -> None:
    visit = beyond_the_limit()
    say(visit, "it was misheard", "nine three", "four four")
    assert spoken(visit.say("nine hundred")) == [CATALOGUE.limits["air-free-co"]]
    assert visit.state.question.ways == ("put-right", "close")  # type: ignore[union-attr]


def test_a_second_time_beyond_a_limit_only_leads_down() -> None:
    """Once the cause was put right; the second time the work does not go on (SAFETY F)."""
    visit = beyond_the_limit()
    say(visit, "put right", "the burner head")
    say(visit, *_rechecked(visit), "wait over", "lit smoothly", "maximum held")
    visit.until_asking()
    hear(visit, "nine three four four nine zero zero maximum")
    say(visit, "confirmed")
    assert visit.state.question.ways == ("misheard", "close")  # type: ignore[union-attr]
    story(visit, ("put right", "Put right, misheard, or leave it off?"))


def test_misheard_is_offered_only_for_stops_by_voice_or_called_values() -> None:
    """Not for a key, a written stop, or silence; nor twice at one gate."""
    for visit, events in (
        ((one := at(*FIRING)), one.say("stop work")),
        ((other := at("site")), say(other, "different")),
    ):
        (stopped,) = of_kind(events, ev.Stopped)
        assert "misheard" not in stopped.ways
        visit.say("it was misheard")
        assert visit.state.status == "stopped"
    visit = at("wiring")
    hear(visit, "burner out")
    say(visit, "it was misheard", *_rechecked(visit))
    assert visit.state.gate == "wiring"
    (stopped,) = of_kind(hear(visit, "burner out"), ev.Stopped)
    assert "misheard" not in stopped.ways


def test_gas_that_was_misheard_is_still_shown_by_a_detector_and_lit_again_watched() -> None:
    """The shortest re-entry is never none: who left comes back by a step, and nothing fires unseen."""
    visit = at(*FIRING)
    hear(visit, "gas smell")
    say(visit, "outside", "control closed", "nobody inside", "nobody")
    story(visit, ("it was misheard", "Gas detector, from the door inwards: silent, or sounding?"))
    visit.say("detector silent")
    say(visit, *_rechecked(visit))
    assert visit.state.text == "Gas line: purged, or not yet?"


def test_a_refused_step_leaves_only_the_way_down() -> None:
    """A source that is not found, a relight that is rough: it stays off."""
    visit = at(*FIRING)
    hear(visit, "stop")
    say(visit, "false stop", "out", "wait over")
    story(
        visit, ("rough start", "Leave it off. Close the record?"), ("put right", "Leave it off. Close the record?")
    )
    say(visit, "leave it off")
    assert visit.state.text == "Burner: switched off, not touched, or unknown?"


def test_gas_outranks_a_shock_again_once_the_way_back_in_was_refused() -> None:
    """A detector sounds: no "power off first" in gas. While no step was refused, the shock has its own order."""
    on_the_way = (
        "outside",
        "control closed",
        "nobody inside",
        "them",
        "put right",
        "still off",
        "emergency service",
    )
    shock = CATALOGUE.hazards["electric-shock"].script
    for steps, order, people in (
        (("building aired", "detector sounding"), GAS, "leave"),
        (("building aired", "detector silent"), shock, "stay"),
    ):
        visit = at(*FIRING)
        hear(visit, "gas smell")
        say(visit, *on_the_way, *steps)
        (stopped,) = of_kind(hear(visit, "i got a shock"), ev.Stopped)
        assert (stopped.script, stopped.people) == (order, people)
        assert visit.state.question.kind == ("outside" if people == "leave" else "stopped")


def test_a_doubtful_answer_leads_nowhere() -> None:
    """With other speech nearly as likely the order is spoken again, or the step asked again."""
    visit = at(*FIRING)
    hear(visit, "gas smell")
    hear(visit, ("[unk]", "0"), ("outside", "-0.5"))
    assert visit.state.question.kind == "outside"


def test_an_interrupted_program_goes_on_with_the_question_after_the_stop() -> None:
    visit = at(*FIRING)
    hear(visit, "gas smell")
    assert spoken(visit.resume())[-1] == GAS
    say(visit, "outside", "control closed")
    assert spoken(visit.resume())[-1] == "Who is inside?"


def test_what_burns_is_asked_after_a_hold_and_lit_again_watched_when_it_is_out() -> None:
    """A burner found off after a break is lit again by its steps, not by "Hold maximum." alone."""
    visit = at(*FIRING)
    visit.resume()
    events = visit.say("it is off")
    assert of_kind(events, ev.StepsOwed)[0].steps == STOPS.stops["burner-out"].relight


def test_steps_owed_are_asked_where_something_fires_next() -> None:
    """Stopped long before the first light-up: the relight is asked at the gate that calls for heat, not before."""
    visit = at("heat-sink")
    hear(visit, "i got a shock")
    say(visit, "put right", "proved dead", "fault repaired")
    say(visit, *_rechecked(visit))
    assert (visit.state.status, visit.state.gate) == ("running", "heat-sink")
    assert visit.state.owed == STOPS.stops["electric-shock"].relight
    for _ in range(60):
        if visit.state.question.kind == "stop-step":
            break
        visit.say(_on(visit))
    assert (visit.state.gate, visit.state.text) == ("heat-call", "Purge wait by the manual: over, or waiting?")
    say(visit, "wait over", "lit smoothly")
    assert (visit.state.text, visit.state.owed) == ("Raise the thermostat.", ())


def _on(visit: Rehearsal) -> str:
    gate, question = shipped().gate(visit.state.gate).gate, visit.state.question
    match question.kind:
        case "to-do" | "choice":
            return next(iter(gate.phrases.values()))[0]
        case "values":
            return "one point five" if gate.effects.asks[0].quantity == "reset_slope" else "seven zero"
        case "put-back":
            return shipped().things[question.thing].restored  # type: ignore[union-attr]
    return "confirmed"
