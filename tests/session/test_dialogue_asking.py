"""The rules of the dialogue on asking for readings and believing them, one test each."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rehearsed import ROW, asked, at, first_row, hear, of_kind, places, play, say, shipped, spoken, technician

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event
from handsfree.gates.outcomes import NOT_DONE
from handsfree.questions.digits import Digits
from handsfree.session.rehearsal import Rehearsal
from handsfree.session.silence import CORRECTION_MS


def accepted(events: tuple[ev.Decision, ...]) -> dict[str, tuple[str, str]]:
    """Return the accepted values: quantity -> value and how."""
    taken = of_kind(events, ev.ReadingAccepted)
    return {event.reading.quantity: (event.reading.value, event.how) for event in taken}


def pending(visit: Rehearsal) -> dict[str, str]:
    """Return the values read back and not accepted."""
    return {quantity: record.value for quantity, record in visit.state.pending.values.items()}


def test_a_row_is_read_back_digit_by_digit_in_the_order_of_the_prompt() -> None:
    """P "Nine three, four four, eighteen": each value is said back, by its name since several are open."""
    visit = at("found-maximum")
    events = visit.say("nine three four four eighteen maximum")
    assert spoken(events) == ["CO2 nine point three. O2 four point four. CO one eight."]
    assert pending(visit) == {"co2": "9.3", "o2": "4.4", "co": "18"}


def test_a_correction_in_one_breath() -> None:
    """P "No, nine point five": the value that fits is replaced and said back, the rest stays pending."""
    visit = first_row()
    events = visit.say("no c o two nine point five")
    (change,) = of_kind(events, ev.ReadingCorrected)
    assert (change.was.value, change.now.value) == ("9.3", "9.5")
    assert pending(visit) == {"co2": "9.5", "o2": "4.4", "co": "18"}
    assert accepted(visit.say("confirmed"))["co2"] == ("9.5", "corrected")


def test_a_correction_by_name() -> None:
    """P "No, CO eighty": CO alone changes."""
    visit = first_row()
    visit.say("no c o eight zero")
    assert pending(visit)["co"] == "80"


def test_a_nameless_correction_that_fits_several_is_asked_about() -> None:
    """ "No, four point six" may be CO2 or O2: "Which one?", and nothing is lost."""
    visit = first_row()
    assert spoken(visit.say("no four point six")) == ["Which one?"]
    assert pending(visit) == {"co2": "9.3", "o2": "4.4", "co": "18"}


def test_the_ear_stays_open_one_and_a_half_seconds_after_a_read_back() -> None:
    """Silence is acted on 1.5 s after the read-back was said, not before; a correction in between counts."""
    visit = first_row()
    assert visit.take(inp.TimePassed(at=visit.state.asked_at + CORRECTION_MS - 1)) == ()
    assert visit.state.question.kind == "read-back"
    hear(visit, "no c o two nine point two", after_ms=1)
    assert pending(visit)["co2"] == "9.2"
    assert CORRECTION_MS == 1500


def test_silence_accepts_a_fitting_pair_and_never_carbon_monoxide() -> None:
    """CO2 and O2 that agree, far from the band's edges, stand by silence; CO is asked once more."""
    visit = first_row("nine point four four point four one eight maximum")
    events = visit.wait()
    assert accepted(events) == {"co2": ("9.4", "silence"), "o2": ("4.4", "silence")}
    assert visit.state.question == Digits(quantity="co")
    assert pending(visit) == {"co": "18"}


def test_silence_accepts_no_pair_on_which_a_verdict_hangs() -> None:
    """Near an edge of the maker's band (8.9) both values are asked again."""
    visit = first_row("nine point zero five point one one eight maximum")
    assert accepted(visit.wait()) == {}
    assert pending(visit) == {"co2": "9.0", "o2": "5.1", "co": "18"}


@pytest.mark.parametrize("place", [key for key in places() if key[1] == "read-back"], ids="/".join)
def test_silence_never_accepts_carbon_monoxide_anywhere(place: tuple[str, str]) -> None:
    """At every read-back of the visit, as if it had been spoken."""
    visit = at(*place)
    visit.state = replace(visit.state, by_keys=False)
    decided: list[Event] = []
    for _ in range(12):
        decided += visit.wait()
    assert not {"co", "ambient_co"} & set(accepted(tuple(decided)))


@pytest.mark.parametrize("place", [key for key in places() if key[1] == "read-back"], ids="/".join)
def test_values_entered_by_keys_wait_for_a_key(place: tuple[str, str]) -> None:
    """Reading and pressing takes longer than a correction by voice: silence accepts none, and loses none."""
    visit = at(*place)
    before = pending(visit)
    decided = visit.wait(14)
    assert decided == ()
    visit.wait()
    assert accepted(tuple(visit.events[-3:])) == {}
    assert pending(visit) == before


def test_no_input_does_not_lose_the_values_read_back() -> None:
    """Through prompt after prompt without an answer the pending values stay, until they are confirmed."""
    visit = first_row("nine point zero five point one one eight maximum")
    before = pending(visit)
    for _ in range(4):
        visit.wait()
        assert pending(visit) == before
    say(visit, "nine point zero", "five point one", "one eight")
    assert visit.state.accepted == places()["found-maximum", "gate"].state.accepted + 3


def test_a_doubtful_value_is_called_a_second_time_and_compared() -> None:
    """A close competing hypothesis: "confirmed" is not enough; an independent second call of the same value is."""
    visit = at("found-maximum")
    hear(visit, (ROW, "0"), ("nine point three four point four one nine maximum", "-1.0"))
    events = visit.say("confirmed")
    assert set(accepted(events)) == {"co2", "o2"}
    assert visit.state.question.quantity == "co"
    assert accepted(visit.say("one eight")) == {"co": ("18", "twice")}


def test_a_second_call_that_differs_is_read_back_anew() -> None:
    """18, then 48: neither counts until they agree."""
    visit = at("found-maximum")
    hear(visit, (ROW, "0"), ("nine point three four point four one nine maximum", "-1.0"))
    visit.say("confirmed")
    events = visit.say("four eight")
    assert accepted(events) == {}
    assert spoken(events)[0].startswith("Different.")


def test_a_wrong_value_is_taken_back_later_and_its_verdict_is_open_again() -> None:
    """ "CO two was wrong", said gates later, goes back to the set; the verdicts since no longer stand."""
    visit = at("first-maximum-hold")
    assert visit.state.verdicts["found-maximum-verdict"] == "outside"
    events = visit.say("c o two was wrong")
    (back,) = of_kind(events, ev.WentBack)
    assert back.to == "found-minimum"
    assert "found-maximum-verdict" not in visit.state.verdicts
    assert "analyser-date" in visit.state.verdicts


def test_that_was_wrong_reopens_the_verdicts_after_the_last_readings() -> None:
    """Verdicts given before those readings stay."""
    visit = at("first-maximum-hold")
    visit.say("that was wrong")
    assert visit.state.gate == "found-minimum-signals"
    assert "found-maximum-verdict" not in visit.state.verdicts
    assert "supply-verdict" in visit.state.verdicts


def test_a_wrong_value_at_its_own_gate_voids_the_sets_there() -> None:
    """All sets of the place are taken anew."""
    visit = at("found-maximum")
    say(visit, ROW, "confirmed")
    assert "found-maximum" in visit.state.sets
    (void,) = of_kind(visit.say("c o two was wrong"), ev.SetVoided)
    assert void.kept_at == "found-maximum"
    assert "found-maximum" not in visit.state.sets


def test_a_wrong_volume_is_taken_back_at_the_timing() -> None:
    """ "That was wrong" between the marks asks for the volume again, not for an older reading."""
    visit = at("input-found/time-the-meter", "mark")
    visit.say("that was wrong")
    assert (visit.state.gate, asked(visit.state)) == ("input-found/time-the-meter", "gate")


def test_co_two_eight_asks_monoxide() -> None:
    """CO 28 or CO2 8: "Monoxide?"; yes asks CO, no asks CO2, the value itself settles it too."""
    for answer, about in (("confirmed", "co"), ("no", "co2")):
        visit = at("found-maximum")
        assert spoken(visit.say("c o two eight")) == ["Monoxide?"]
        assert visit.state.pending.values == {}
        visit.say(answer)
        assert visit.state.question.quantity == about
    visit = at("found-maximum")
    say(visit, "c o two eight", "monoxide two eight")
    assert pending(visit) == {"co": "28"}


def test_o_two_is_parsed_both_ways() -> None:
    """O2 4.6, or a nought before more digits: both ways are weighed, and the pair decides or it is asked."""
    visit = at("found-maximum")
    hear(visit, ("nine point four o two four point four one eight maximum", "0"))
    assert pending(visit) == {"co2": "9.4", "o2": "4.4", "co": "18"}


@pytest.mark.parametrize(
    ("said", "twin", "digits"),
    [("fifteen", "fifty", "one five"), ("nineteen", "ninety", "one nine"), ("eighty", "eighteen", "eight zero")],
)
def test_fifteen_and_fifty_are_asked_digit_by_digit(said: str, twin: str, digits: str) -> None:
    """A word with a twin is never enough, twice neither; the digits are."""
    visit = at("found-maximum")
    events = say(visit, f"nine point four four point four {said} maximum", "confirmed")
    assert "co" not in accepted(events)
    assert spoken(events) == ["Digit by digit: CO?"]
    assert spoken(visit.say(said)) == ["Digit by digit: CO?"]
    assert "co" not in accepted(visit.say(twin))
    assert accepted(visit.say(digits))["co"][1] == "twice"


def test_digits_need_no_second_call() -> None:
    """ "One five" has no twin."""
    visit = first_row("nine point four four point four one five maximum")
    assert accepted(visit.say("confirmed"))["co"] == ("15", "affirmed")


def test_a_temperature_with_a_twin_is_asked_digit_by_digit_too() -> None:
    """The rule is for every quantity."""
    visit = at("final-temperatures")
    assert spoken(say(visit, "fifty nineteen six two four one", "confirmed")) == ["Digit by digit: flue?"]


def test_a_mark_is_timed_at_the_onset_of_its_word() -> None:
    """What counts is where the word begins in the sound, not when it was recognised."""
    visit = at("input-found/time-the-meter", "mark")
    first = hear(visit, "mark", after_ms=3000)
    heard = of_kind(visit.events, inp.Heard)[-1]
    (mark,) = of_kind(first, ev.Marked)
    assert mark.onset == heard.started == heard.at - 1000


def test_a_doubtful_mark_begins_the_timing_anew() -> None:
    """Other speech taken for the second mark must not become a time."""
    visit = at("input-found/time-the-meter", "mark")
    hear(visit, "mark")
    hear(visit, ("[unk]", "0"), ("mark", "-3.0"), after_ms=70_000)
    assert visit.state.question.kind == "mark"


def test_a_time_that_is_too_short_is_taken_again() -> None:
    """Under the gate's least seconds the time is refused with its reason."""
    visit = at("input-found/time-the-meter", "mark")
    visit.say("mark")
    visit.wait(20)
    (refused,) = of_kind(visit.say("mark"), ev.ReadingRefused)
    assert refused.why == "shorter than 60 s"
    assert visit.state.question.kind == "mark"


def test_covers_are_fitted_or_removed_never_on_or_off() -> None:
    """No thing of the shipped procedure is called on or off alone."""
    words = {word for thing in shipped().things.values() for word in (thing.altered, thing.restored)}
    assert not {"on", "off", "start", "stop", "start stop"} & words
    assert shipped().things["cover"].restored == "fitted"


def test_a_pair_that_cannot_be_true_is_asked_again() -> None:
    """CO2 9.4 with O2 9.4 fits no natural gas: both are asked again, CO stays pending."""
    visit = first_row("nine point four nine point four one eight maximum")
    assert visit.state.question.kind == "tied-values"
    assert pending(visit) == {"co": "18"}


def test_a_pair_that_fits_another_fuel_says_so() -> None:
    """CO2 10.4 with O2 5.0 is propane's (13.8 % ultimate CO2, computed)."""
    visit = at("found-maximum")
    assert "propane" in spoken(visit.say("ten point four five point one one eight maximum"))[-1]


def test_a_pair_called_twice_stands_doubted_and_nothing_there_passes() -> None:
    """The person is believed, the verdict is not given."""
    visit = at("found-maximum")
    for _ in range(3):
        visit.until_asking()
        visit.say("nine point four nine point four one eight maximum")
        events = visit.say("nine point four nine point four")
        assert of_kind(events, ev.PairDoubted)
        visit.say("confirmed")
    assert visit.state.gate == "found-maximum-temperatures"
    assert visit.state.doubted("found-maximum")
    play(visit, technician(visit.plan), until="middle-rate")
    verdict = next(one for one in reversed(visit.events) if isinstance(one, ev.VerdictGiven))
    assert (verdict.gate, verdict.outcome) == ("found-maximum-verdict", "missing")


def test_a_number_that_is_none_is_asked_again_never_guessed() -> None:
    """ "Twenty thirty" is no number, and not fifty."""
    visit = at("ambient-entry")
    (no,) = of_kind(visit.say("twenty thirty"), ev.NotUnderstood)
    assert no.why
    assert visit.state.accepted == 0


def test_resolution_is_kept_as_said() -> None:
    """9.3 and 9.30 are different readings."""
    visit = at("reset-as-found")
    say(visit, "one point five")
    assert pending(visit) == {"reset_slope": "1.5"}
    assert NOT_DONE in visit.plan.gate("reset-as-found").transitions
