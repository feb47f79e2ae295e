"""The rules of the dialogue on stopping, one test each."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from rehearsed import at, hear, of_kind, places, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event
from handsfree.questions.kind import ALARM_MS
from handsfree.session.apply_stops import LONG_PAUSE_MS
from handsfree.session.margins import MARGINS
from handsfree.session.rehearsal import Rehearsal
from handsfree.session.silence import GRACE_MS, LONGEST_HOLD_MS

CATALOGUE = shipped().catalogue
PHRASES = [(name, text) for name, hazard in CATALOGUE.hazards.items() for text in hazard.heard]
FIRING = ("found-maximum-temperatures", "gate")


def stopped(events: tuple[ev.Decision, ...]) -> ev.Stopped:
    (event,) = of_kind(events, ev.Stopped)
    assert isinstance(event, ev.Stopped)
    return event


@pytest.mark.parametrize(("name", "phrase"), PHRASES)
def test_a_stop_phrase_acts_at_the_first_hearing(name: str, phrase: str) -> None:
    """Each stop and hazard phrase stops a firing gate at once, with its own script and no question."""
    event = stopped(hear(at(*FIRING), phrase))
    assert (event.why, event.script) == (name, CATALOGUE.hazards[name].script)


@pytest.mark.parametrize("place", sorted(key for key in places() if key[0]), ids="/".join)
def test_a_stop_phrase_acts_at_every_question(place: tuple[str, str]) -> None:
    """Gas smell stops at every question of the whole visit, heard or typed."""
    assert stopped(hear(at(*place), "gas smell")).why == "gas-smell"
    assert stopped(at(*place).say("gas smell")).why == "gas-smell"


def test_a_stop_phrase_acts_over_the_tools_own_voice_and_nothing_else_does() -> None:
    """Over the voice only stop and hazard phrases are taken."""
    assert stopped(hear(at(*FIRING), "stop work", over_voice=True)).why == "stop-work"
    visit = at("site")
    assert hear(visit, "the same", over_voice=True) == ()
    assert visit.state.gate == "site"


def test_a_stop_phrase_acts_while_held_waiting_and_stopped() -> None:
    """On hold, in the silent wait before readings, and when stopped already."""
    held = at(*FIRING)
    say(held, "hold on")
    assert stopped(hear(held, "feel ill")).why == "feel-ill"
    waiting = at("found-maximum", "waiting")
    assert stopped(hear(waiting, "gas smell")).why == "gas-smell"
    assert stopped(hear(waiting, "c o alarm")).why == "co-alarm"


def test_a_stop_phrase_acts_in_sound_that_was_lost_or_clipped() -> None:
    """A damaged recording gives no reading, but a stop phrase in it acts."""
    assert stopped(hear(at(*FIRING), "stop work", overflow=True, clipped=True)).why == "stop-work"


def test_a_stop_phrase_close_behind_the_best_alternative_acts() -> None:
    """Within the margin it acts, beyond it does not."""
    assert stopped(hear(at("site"), ("the same", "0"), ("gas smell", f"-{MARGINS.ours_stop}"))).why == "gas-smell"
    assert not of_kind(
        hear(at("site"), ("the same", "0"), ("gas smell", f"-{MARGINS.ours_stop + Decimal(1) / 10}")), ev.Stopped
    )
    assert stopped(hear(at("site"), ("[unk]", "0"), ("stop work", "-1.5"))).why == "stop-work"


def test_a_typed_stop_phrase_acts_inside_other_words() -> None:
    """Typed in a sentence it acts too; a cause that is told may name the hazard."""
    visit = at("site")
    assert stopped(visit.say("there is a gas smell here")).why == "gas-smell"
    visit = at("site")
    say(visit, "stop work", "put right")
    assert not of_kind(visit.say("a gas smell that was paint"), ev.Stopped)
    assert stopped(at("site").say("gas smell")).why == "gas-smell"


def plain(text: str) -> str:
    return re.sub(r"[^a-z ]+", " ", text.lower())


def test_no_prompt_contains_a_stop_phrase() -> None:
    """Neither the tool's sayings and scripts, nor the shipped gates, nor anything said in the whole visit."""
    texts = [*CATALOGUE.sayings.values(), *(hazard.script for hazard in CATALOGUE.hazards.values())]
    for placed in shipped().procedure.gates.values():
        texts += [getattr(placed.gate, name, "") for name in ("prompt", "script", "title")]
    texts += spoken(places()["", "end"].events)
    assert [text for text in texts if CATALOGUE.hazard_within(plain(text))] == []


def test_every_hazard_has_one_script_without_a_question() -> None:
    """One script each, and none asks anything."""
    scripts = [hazard.script for hazard in CATALOGUE.hazards.values()]
    assert len(set(scripts)) == len(scripts) >= 5
    assert not [script for script in scripts if "?" in script]


def test_after_the_gas_script_only_outside_is_taken() -> None:
    """The stopped state ignores answers and everywhere phrases; no reason leads on."""
    visit = at(*FIRING)
    hear(visit, "gas smell")
    for words in ("carry on", "go back", "confirmed", "repeat", "not done because it is so", "put right"):
        visit.say(words)
        assert (visit.state.status, visit.state.question.kind) == ("stopped", "outside")


def test_a_stopped_visit_may_leave_things_altered_and_says_which() -> None:
    """The record and the last spoken line name what is still altered."""
    visit = at(*FIRING)
    hear(visit, "stop work")
    say(visit, "close the record")
    events = led_down(visit)
    (closed,) = of_kind(events, ev.VisitClosed)
    assert closed.outcome == "left-as-reported"
    assert "rate-hold" in closed.still_altered
    assert spoken(events)[-1].startswith("Still altered:")
    assert "rate hold" in spoken(events)[-1].lower()


def led_down(visit: Rehearsal) -> tuple[ev.Decision, ...]:
    """Report each state on the way down as not known; return what the close led to."""
    words = {"stop-step": "not known", "stop-thing": "not known", "stop-talk": "none"}
    own = {"tag": "no tag", "responsible": "nobody there"}
    while visit.state.question.kind in words:
        step = visit.state.question.step  # type: ignore[union-attr]
        visit.say(own.get(step, words[visit.state.question.kind]))
    return visit.say("confirmed")


def test_make_safe_is_never_spoken() -> None:
    """The tool says stopped; our own word stays in the files."""
    texts = [*CATALOGUE.sayings.values(), *spoken(places()["", "end"].events)]
    assert not [text for text in texts if "make" in text.lower() and "safe" in text.lower()]


def let_time_pass(visit: Rehearsal, most: int = 40) -> list[Event]:
    decided: list[Event] = []
    for _ in range(most):
        events = visit.wait()
        decided += events
        if visit.state.status != "running" or not events:
            return decided
    return decided


def test_a_minute_of_silence_at_a_firing_gate_is_an_alarm_then_the_stop() -> None:
    """The alarm comes 60 s after the question was said, the stop 10 s later; it never carries on."""
    visit = at(*FIRING)
    asked = visit.state.asked_at
    decided = let_time_pass(visit)
    (tone,) = of_kind(decided, ev.ToneSounded)
    assert tone.name == "alarm"
    assert stopped(tuple(decided)).why == "no-answer"
    assert 70_000 <= visit.state.now - asked <= 72_000
    assert (ALARM_MS, GRACE_MS) == (60_000, 10_000)
    assert not of_kind(decided, ev.GatePassed)


@pytest.mark.parametrize("place", [key for key in places() if key[0]], ids="/".join)
def test_silence_alone_passes_no_gate_unless_a_settled_row_was_read_back(place: tuple[str, str]) -> None:
    """At every question of the visit: nothing is confirmed, restored, altered, turned or left by silence."""
    visit = at(*place)
    firing = shipped().gate(place[0]).gate.firing
    decided = let_time_pass(visit)
    assert not of_kind(decided, (ev.GatePassed, ev.Restored, ev.Altered, ev.Turned, ev.VisitClosed))  # type: ignore[arg-type]
    assert visit.state.status == ("stopped" if firing else "running")


def test_noise_that_is_no_answer_does_not_put_off_the_alarm() -> None:
    """Speech that means nothing here is no sign of life."""
    visit = at(*FIRING)
    asked, decided = visit.state.asked_at, []
    while visit.state.status == "running" and visit.state.now - asked < 200_000:
        decided += hear(visit, "[unk]", after_ms=4000)
        due = visit.wait()
        decided += due
    assert stopped(tuple(decided)).why == "no-answer"
    assert visit.state.now - asked < 2 * ALARM_MS


def test_a_device_that_comes_and_goes_does_not_put_off_the_alarm() -> None:
    """What the tool says of its devices is no new question."""
    visit = at(*FIRING)
    asked, decided = visit.state.asked_at, []
    while visit.state.status == "running" and visit.state.now - asked < 200_000:
        decided += visit.take(inp.DeviceLost(at=visit.state.now + 9000, device="recogniser"))
        decided += visit.wait()
    assert stopped(tuple(decided)).why == "no-answer"
    assert visit.state.now - asked < 2 * ALARM_MS


def test_a_long_hold_at_a_firing_gate_is_an_alarm_then_the_stop() -> None:
    """Holding does not switch the watch off."""
    visit = at(*FIRING)
    say(visit, "hold on")
    held = visit.state.held_since
    assert held is not None
    decided = let_time_pass(visit)
    assert stopped(tuple(decided)).why == "no-answer"
    assert visit.state.now >= held + LONGEST_HOLD_MS + GRACE_MS


def test_at_a_gate_without_fire_silence_waits() -> None:
    """No alarm and no stop: the prompts end and the visit stays where it is."""
    visit = at("site")
    decided = let_time_pass(visit)
    assert not of_kind(decided, (ev.ToneSounded, ev.Stopped))  # type: ignore[arg-type]
    assert visit.state.gate == "site"


def test_holding_is_quiet_even_when_a_wait_ends() -> None:
    """A wait that ends on hold asks nothing until "carry on"."""
    visit = at("found-maximum", "waiting")
    say(visit, "hold on")
    assert visit.take(inp.TimePassed(at=visit.state.now + 100_000)) == ()
    say(visit, "carry on")
    assert visit.state.held_since is None


@pytest.mark.parametrize("words", ["over range", "c o over range", "monoxide off the scale"])
def test_carbon_monoxide_over_range_stops_at_once(words: str) -> None:
    """Said alone, by name, as part of a row, as a correction: the action comes without a read-back."""
    event = stopped(hear(at("found-maximum"), words))
    assert event.script == "Over range. Burner off now."


@pytest.mark.parametrize(
    ("gate", "kind"),
    [
        ("found-maximum", "waiting"),
        ("found-maximum", "read-back"),
        ("found-maximum", "rate"),
        ("final-temperatures", "gate"),
        ("first-maximum-hold", "gate"),
    ],
)
def test_carbon_monoxide_over_range_stops_whatever_was_asked(gate: str, kind: str) -> None:
    """Rising CO may interrupt the wait, a read-back, the rate, another row, a confirmation."""
    visit = at(gate, kind) if kind != "rate" else at("found-maximum")
    if kind == "rate":
        say(visit, "nine three four four one eight", "confirmed")
        assert visit.state.question.kind == "rate"
    assert stopped(hear(visit, "c o over range")).script == "Over range. Burner off now."


def test_over_range_in_a_row_or_a_correction_stops() -> None:
    """The row ends in it; or the read-back is corrected by it."""
    assert stopped(hear(at("found-maximum"), "nine three four four over range maximum"))
    assert stopped(hear(at("found-maximum", "read-back"), "no c o over range"))


def test_over_range_heard_as_a_rival_stops() -> None:
    """CO over range just behind a harmless row is not argued away."""
    row = "nine point three four point four one eight maximum"
    other = "nine point three four point four over range maximum"
    assert stopped(hear(at("found-maximum"), (row, "0"), (other, f"-{MARGINS.ours_value}")))


def test_dashes_and_no_reading_are_readings() -> None:
    """They are recorded as called and read back."""
    visit = at("ambient-entry")
    (read,) = of_kind(say(visit, "dashes"), ev.ReadBack)
    assert read.values[0].value == "no reading"
    (taken,) = of_kind(say(visit, "confirmed"), ev.ReadingAccepted)
    assert taken.reading.value == "no reading"


def test_a_stop_limit_outranks_a_plausible_range() -> None:
    """A flue temperature over the maker's limit is read back, not called impossible, and stops when confirmed."""
    visit = at("final-temperatures")
    events = say(visit, "two five zero one nine six two four one")
    assert not of_kind(events, ev.ReadingRefused)
    assert stopped(say(visit, "confirmed")).why == "limit"


def test_a_value_beyond_a_stop_limit_stops_when_it_is_confirmed() -> None:
    """Stopping needs no second hearing: 900 ppm, confirmed once."""
    visit = at("found-maximum")
    say(visit, "nine three four four nine zero zero maximum")
    event = stopped(say(visit, "confirmed"))
    assert event.why == "limit"
    assert event.source


def test_ambient_carbon_monoxide_beyond_its_limit_sends_people_out() -> None:
    """100 ppm in the room: everyone out (trade journal and testing guideline, named in the event)."""
    visit = at("ambient-entry")
    say(visit, "one hundred")
    event = stopped(say(visit, "confirmed"))
    assert "Everyone out" in event.script


def test_a_long_hold_asks_what_runs_and_its_rate_in_one_question() -> None:
    """After more than two minutes; nobody has laid a hand on things, so none of them is asked again."""
    visit = at("found-maximum")
    say(visit, "hold on")
    visit.take(inp.TimePassed(at=visit.state.now + LONG_PAUSE_MS + 1000))
    events = say(visit, "carry on")
    (begun,) = of_kind(events, ev.RecheckBegun)
    assert begun.items == ("burner", "rate")
    assert spoken(events)[-1] == "Burner: still firing at maximum?"
    events = say(visit, "still firing")
    assert [(one.item, one.answer) for one in of_kind(events, ev.Rechecked)] == [
        ("burner", "firing"),
        ("rate", "maximum"),
    ]
    assert visit.state.rechecks == ()
