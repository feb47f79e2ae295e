"""An answer that was taken is taken once: nothing is called not understood, and the right question follows."""

from __future__ import annotations

from decimal import Decimal

import pytest
from rehearsed import at, hear, of_kind, places, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.stop import StopGate
from handsfree.gates.verdict import VerdictGate
from handsfree.session.apply import apply
from handsfree.session.playing import AgreeingPlayer
from handsfree.session.rehearsal import Rehearsal

ROW = "nine point three four point six two four maximum"


def asked(events: tuple[ev.Record, ...]) -> ev.Asked:
    """Return the last question of the events, all of whose words were understood."""
    assert not of_kind(events, ev.NotUnderstood)
    last: ev.Asked = of_kind(events, ev.Asked)[-1]
    return last


def thing_of(asked: ev.Asked) -> str:
    """Return the thing that a question is about."""
    thing: str = asked.question.thing  # type: ignore[union-attr]
    return thing


# Notes


def test_after_a_note_the_question_is_asked_again_in_its_words() -> None:
    """As it was asked before, about the same."""
    visit = at("permission")
    before = visit.state.text
    visit.say("take a note")
    events = hear(visit, "[unk]", sound="d" * 64)
    assert (asked(events).question.kind, asked(events).text) == ("to-do", before)
    assert before
    assert len(of_kind(events, ev.Noted)) == 1
    assert len(spoken(events)) == 2  # that it is noted, and the question


def test_a_note_in_a_wait_goes_on_waiting_in_silence() -> None:
    """To the same time, and nothing but that it is noted is said."""
    visit = at("found-maximum", "waiting")
    until = visit.state.until
    visit.say("take a note")
    events = hear(visit, "[unk]", sound="d" * 64)
    assert (asked(events).question.kind, asked(events).text, asked(events).until) == ("waiting", "", until)
    assert len(spoken(events)) == 1


# What a gate needs first


def lock_removed() -> Rehearsal:
    """Return the visit gone back to a gate that needs the lock fitted, after the lock was taken off."""
    visit = at("lock-off")
    say(visit, "removed", "confirmed")
    while visit.state.question.kind != "thing-first":
        visit.say("go back")
    return visit


def thing_first(visit: Rehearsal) -> str:
    """Return the thing whose state the gate needs first."""
    unmet = {
        thing: wanted
        for thing, wanted in shipped().gate(visit.state.gate).gate.needs.items()
        if (shipped().things[thing].altered == wanted) != (thing in visit.state.altered)
    }
    return next(iter(unmet))


def test_the_state_that_a_gate_needs_is_taken_and_the_next_need_or_the_gate_follows() -> None:
    """Each altered thing is recorded as altered, once, until nothing is lacking."""
    visit = lock_removed()
    while visit.state.question.kind == "thing-first":
        thing = thing_first(visit)
        wanted = shipped().gate(visit.state.gate).gate.needs[thing]
        if wanted != shipped().things[thing].altered:
            break
        events = visit.say(wanted)
        assert [one.thing for one in of_kind(events, ev.Altered)] == [thing]
        assert thing in visit.state.altered
        asked(events)
    assert visit.state.question.kind in {"to-do", "thing-first"}


def test_the_other_state_is_no_answer_to_what_a_gate_needs() -> None:
    """It is asked again, as if new, and nothing is altered or restored."""
    visit = lock_removed()
    thing = thing_first(visit)
    before = dict(visit.state.altered)
    events = visit.say(shipped().things[thing].restored)
    question = asked(events)
    assert (question.question.kind, thing_of(question), question.attempt) == ("thing-first", thing, 1)
    assert dict(visit.state.altered) == before
    assert not of_kind(events, ev.Altered | ev.Restored)  # type: ignore[arg-type]


def test_a_thing_that_must_be_back_first_is_read_back_by_its_state() -> None:
    """A thing without a value: its restored state, then a confirmation."""
    visit = cover_off()
    question = asked(visit.say("fitted"))
    assert (question.question.kind, thing_of(question)) == ("thing-check", "cover")
    assert "cover" in visit.state.altered
    events = visit.say("confirmed")
    assert [one.thing for one in of_kind(events, ev.Restored)] == ["cover"]
    assert "cover" not in visit.state.altered
    assert asked(events).question.kind != "thing-first"


def test_a_thing_that_must_be_back_and_is_not_is_asked_for_again() -> None:
    """ "Removed" where it must be fitted."""
    visit = cover_off()
    events = visit.say("removed")
    assert (asked(events).question.kind, thing_of(asked(events))) == ("thing-first", "cover")
    assert "cover" in visit.state.altered
    assert not of_kind(events, ev.Altered)


def cover_off() -> Rehearsal:
    """Return a visit gone back to a gate that needs the cover fitted, after it was taken off once more."""
    visit = at("found-maximum-temperatures")
    taken_off = ev.Altered(at=visit.state.now, thing="cover", gate=visit.state.gate)
    visit.state = apply(visit.plan, visit.state, taken_off)
    visit.say("go back")
    assert (visit.state.question.kind, thing_first(visit)) == ("thing-first", "cover")
    return visit


def test_a_setting_that_must_be_back_is_proven_by_its_value() -> None:
    """The word is taken, and the value asked for."""
    visit = at("reset-raised")
    say(visit, "raised", "go back", "go back")
    question = asked(visit.say("restored"))
    assert (question.question.kind, thing_of(question)) == ("put-back", "outdoor-reset")


def test_a_setting_that_is_still_raised_is_asked_for_again() -> None:
    """ "Raised" where it must be as found: nothing is asked for its value."""
    visit = at("reset-raised")
    say(visit, "raised", "go back", "go back")
    question = asked(visit.say("raised"))
    assert (question.question.kind, thing_of(question)) == ("thing-first", "outdoor-reset")


# After an interruption or a stop


def test_every_answer_of_a_recheck_is_taken() -> None:
    """Burner, rate and each altered thing, one after the other."""
    visit = at("found-maximum")
    events = visit.take(inp.Resumed(at=visit.state.now + 1, program="0.1.0"))
    answers = {"still-firing": "burner running", "rate": "maximum"}
    while visit.state.rechecks:
        kind, about = visit.state.question.kind, visit.state.rechecks[0]
        item = visit.state.rechecks[0]
        events = visit.say(answers.get(kind) or shipped().things[about].altered)
        assert [one.item for one in of_kind(events, ev.Rechecked)] == [item]
        asked(events)
    assert visit.state.gate == "found-maximum"
    assert not of_kind(events, ev.NotUnderstood)


def test_a_stop_gate_goes_on_at_the_question_before_it() -> None:
    """Not at a verdict, which asks nothing; the very first question where there is none before."""
    for place in places():
        gate_id, kind = place
        if not gate_id or kind != "gate":
            continue
        for outcome, to in shipped().gate(gate_id).transitions.items():
            stops = to in shipped().procedure.gates and isinstance(shipped().gate(to).gate, StopGate)
            answers = getattr(shipped().gate(gate_id).gate, "answers", {})
            if not (stops and outcome in answers):
                continue
            visit = at(*place)
            events = visit.say(answers[outcome].heard[0])
            if visit.state.question.kind == "answer-check":
                events = visit.say("confirmed")
            if visit.state.question.kind == "finding":
                events = visit.say("seen and written down")
            assert of_kind(events, ev.Stopped), (gate_id, outcome)
            back, *_ = of_kind(back_in(visit), ev.ReEntered)
            assert back.gate == gate_id, (gate_id, outcome)
            assert not isinstance(shipped().gate(back.gate).gate, StopGate | VerdictGate)


def test_a_resumed_visit_says_what_was_accepted_last() -> None:
    """With its value; nothing of it where nothing was accepted yet."""
    visit = at("boiler-model")
    assert visit.state.last_accepted is not None
    value = visit.plan.numbers.digits(Decimal(visit.state.last_accepted.value))
    assert spoken(visit.resume())[0] == f"Last accepted: ambient CO {value}."
    assert not any("Last accepted" in text for text in spoken(at("permission").resume()))


def test_a_stopped_visit_that_is_resumed_is_still_stopped() -> None:
    """It says so, asks nothing again, and listens for how it goes on."""
    visit = at("found-maximum")
    visit.say("stop work")
    events = visit.resume()
    assert spoken(events)[-2:] == ["Stopped.", "Put right, or leave it off?"]
    assert asked(events).question.kind == "stopped"
    assert not of_kind(events, ev.RecheckBegun)


def test_no_to_the_read_back_of_a_close_leaves_it_stopped() -> None:
    """And the stopped state asks again."""
    visit = at("found-maximum")
    say(visit, "stop work", "close the record", "burner switched off", "gas cock closed", "power isolated")
    while visit.state.question.kind == "stop-thing":
        visit.say("not touched")
    say(visit, "tag fitted", "person told", "none")
    assert visit.state.question.kind == "close-check"
    events = visit.say("no")
    assert (visit.state.status, asked(events).question.kind) == ("stopped", "stopped")
    assert asked(events).text
    assert not of_kind(events, ev.VisitClosed)


# The burner that goes out


def test_the_first_burner_out_says_its_script_and_voids_the_set() -> None:
    """What to do first, then that the set is void, then the steps before it fires again."""
    visit = at("found-maximum")
    events = visit.say("burner out")
    hazard = visit.plan.catalogue.hazards["burner-out"]
    assert spoken(events) == [hazard.script, "Set void. Back to the rate.", "Cause: what was it?"]
    assert len(of_kind(events, ev.WentOut)) == 1


def test_burner_out_in_the_stopped_state_leaves_it_stopped() -> None:
    """The burner went out because the work was stopped: that is no reason to go on."""
    visit = at("found-maximum")
    visit.say("gas smell")
    events = visit.say("burner out")
    assert visit.state.status == "stopped"
    assert not of_kind(events, ev.WentOut)


# Doubtful words, and words that answer nothing


def test_a_doubtful_no_or_repeat_over_a_read_back_is_taken() -> None:
    """They only ask again; a doubtful "confirmed" there is asked for once more."""
    for words, taken in (("no", True), ("repeat", True), ("confirmed", False)):
        visit = at("cover-on", "thing-check")
        events = hear(visit, ("[unk]", "0"), (words, "-1.0"))
        assert bool(of_kind(events, ev.NotUnderstood)) != taken, words
        assert not of_kind(events, ev.Restored)


def test_on_hold_nothing_is_asked_and_what_is_no_answer_leaves_no_trace() -> None:
    """Words to somebody else; a doubtful "carry on" is counted, and not asked again."""
    visit = at("found-maximum")
    visit.say("hold on")
    assert not of_kind(visit.say("blue"), (ev.NotUnderstood, ev.Asked))  # type: ignore[arg-type]
    events = hear(visit, ("[unk]", "0"), ("carry on", "-1.0"))
    assert of_kind(events, ev.NotUnderstood)
    assert spoken(events) == []
    assert visit.state.held_since is not None


def test_a_display_without_a_number_proves_no_setting() -> None:
    """ "Dashes" where its value is asked for: not understood, and still to be put back."""
    visit = at("reset-raised")
    say(visit, "raised", "go back", "go back", "restored")
    assert visit.state.question.kind == "put-back"
    (refused,) = of_kind(visit.say("dashes"), ev.NotUnderstood)
    assert refused.why == "no answer to this"
    assert (visit.state.question.kind, "outdoor-reset" in visit.state.altered) == ("put-back", True)


def test_a_device_that_is_no_ear_changes_nothing() -> None:
    """The voice comes back: nothing is said of hearing."""
    visit = at("permission")
    assert spoken(visit.take(inp.DeviceFound(at=visit.state.now + 1, device="voice"))) == []
    assert spoken(visit.take(inp.DeviceLost(at=visit.state.now + 1, device="voice"))) == []


@pytest.mark.parametrize(("device", "told"), [("keys", "Keys back."), ("page", "Phone page back.")])
def test_keys_and_page_that_are_back_are_told_before_the_question(device: str, told: str) -> None:
    """Whoever went on by voice knows that they count again."""
    visit = at("permission")
    question = visit.state.text
    assert spoken(visit.take(inp.DeviceFound(at=visit.state.now + 1, device=device))) == [told, question]


# Offering what may have been said


def test_what_may_have_been_said_is_offered_from_the_fourth_attempt_on() -> None:
    """Before that the question is asked in its shorter ways."""
    visit = at("site")
    for number in range(1, 6):
        events = hear(visit, ("[unk]", "0"), ("the same", "-6.0"))
        offered = "The same? Confirmed, or no." in spoken(events)
        assert offered == (number >= 4), number
        if offered:
            return
    raise AssertionError("never offered")


def test_a_question_without_a_candidate_is_asked_by_keys_however_often() -> None:
    """Nothing was near, so nothing is offered."""
    visit = at("site")
    for _ in range(6):
        events = visit.say("blue")
        assert of_kind(events, ev.NotUnderstood)
        assert asked_text(events)
    assert asked_text(events) == "Use the keys."


def asked_text(events: tuple[ev.Record, ...]) -> str:
    return str(of_kind(events, ev.Asked)[-1].text)


def test_a_confirmation_is_never_offered_for_a_yes_or_no() -> None:
    """At a read-back a weak "confirmed" is asked for in the ordinary ways, to the end."""
    visit = at("cover-on", "thing-check")
    for _ in range(6):
        events = hear(visit, ("[unk]", "0"), ("confirmed", "-6.0"))
        assert of_kind(events, ev.NotUnderstood)
    assert "cover" in visit.state.altered
    assert visit.state.question.kind == "thing-check"


def test_values_that_are_read_back_are_never_offered_for_a_yes_or_no() -> None:
    """A weak "confirmed" far behind noise accepts nothing, however often it seems to come."""
    visit = at("found-maximum")
    say(visit, ROW)
    for _ in range(6):
        events = hear(visit, ("[unk]", "0"), ("confirmed", "-6.0"))
        assert of_kind(events, ev.NotUnderstood)
        assert not of_kind(events, ev.ReadingAccepted)
    assert visit.state.question.kind == "read-back"


def test_a_row_is_offered_with_what_else_it_may_have_been() -> None:
    """From the fourth attempt: 24 with 26 beside it is read back, and CO alone is called a second time."""
    visit = at("found-maximum")
    say(visit, "blue", "blue", "blue")
    events = hear(visit, ("[unk]", "0"), (ROW, "-6.0"), (ROW.replace("two four", "two six"), "-6.5"))
    (read,) = of_kind(events, ev.ReadBack)
    assert {one.quantity: one.value for one in read.values} == {"co2": "9.3", "o2": "4.6", "co": "24"}
    assert read.doubtful == ("co",)


# CO or CO2


def test_one_value_that_may_be_co_or_co2_is_asked_about() -> None:
    """ "CO two eight" is CO2 8 or CO 28."""
    visit = at("found-maximum")
    assert asked(visit.say("c o two eight")).question.kind == "alike-quantities"


def test_a_command_or_a_row_near_one_value_does_not_make_it_ambiguous() -> None:
    """Only another single value does."""
    for rival in ("repeat", ROW):
        visit = at("found-maximum")
        hear(visit, ("carbon monoxide two four", "0"), (rival, "-1.0"))
        assert visit.state.question.kind != "alike-quantities", rival
    visit = at("found-maximum")
    (read,) = of_kind(hear(visit, (ROW, "0"), ("carbon monoxide two four", "-2.5")), ev.ReadBack)
    assert [one.quantity for one in read.values] == ["co2", "o2", "co"]
    assert visit.state.question.kind == "read-back"


def back_in(visit: Rehearsal) -> list[ev.Decision]:
    """Walk back in after a stop, each step answered so that it leads on; return what was decided."""
    decided: list[ev.Decision] = []
    for _ in range(40):
        if visit.state.status == "running":
            return decided
        decided += visit.say(visit.state.question.played(_Led(visit.plan, visit.state)))
    raise AssertionError(visit.state.text)


class _Led(AgreeingPlayer):
    """Goes back in; what it reads in a room is usual."""

    def value(self, quantity: str) -> str:
        return self.plan.numbers.digits(self.plan.procedure.trade.quantities[quantity].usual)
