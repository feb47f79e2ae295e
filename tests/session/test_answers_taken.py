"""An answer that was taken is taken once: nothing is called not understood, and the right question follows."""

from __future__ import annotations

from rehearsed import at, hear, of_kind, places, say, shipped, spoken

from handsfree.procedure.model import StopGate, VerdictGate
from handsfree.session import events as ev
from handsfree.session import inputs as inp
from handsfree.session.rehearsal import Rehearsal
from handsfree.session.state import apply


def asked(events: tuple[ev.Record, ...]) -> ev.Asked:
    """Return the last question of the events, all of whose words were understood."""
    assert not of_kind(events, ev.NotUnderstood)
    last: ev.Asked = of_kind(events, ev.Asked)[-1]
    return last


# Notes


def test_after_a_note_the_question_is_asked_again_in_its_words() -> None:
    """As it was asked before, about the same."""
    visit = at("permission")
    before = visit.state.text
    visit.say("take a note")
    events = hear(visit, "[unk]", sound="d" * 64)
    assert (asked(events).question, asked(events).text) == ("gate", before)
    assert before
    assert len(of_kind(events, ev.Noted)) == 1
    assert len(spoken(events)) == 2  # that it is noted, and the question


def test_a_note_in_a_wait_goes_on_waiting_in_silence() -> None:
    """To the same time, and nothing but that it is noted is said."""
    visit = at("found-maximum", "waiting")
    until = visit.state.until
    visit.say("take a note")
    events = hear(visit, "[unk]", sound="d" * 64)
    assert (asked(events).question, asked(events).text, asked(events).until) == ("waiting", "", until)
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
    assert visit.state.question.kind in {"gate", "thing-first"}


def test_the_other_state_is_no_answer_to_what_a_gate_needs() -> None:
    """It is asked again, as if new, and nothing is altered or restored."""
    visit = lock_removed()
    thing = thing_first(visit)
    before = dict(visit.state.altered)
    events = visit.say(shipped().things[thing].restored)
    question = asked(events)
    assert (question.question, question.about, question.attempt) == ("thing-first", thing, 1)
    assert dict(visit.state.altered) == before
    assert not of_kind(events, ev.Altered | ev.Restored)  # type: ignore[arg-type]


def test_a_thing_that_must_be_back_first_is_read_back_by_its_state() -> None:
    """A thing without a value: its restored state, then a confirmation."""
    visit = cover_off()
    question = asked(visit.say("fitted"))
    assert (question.question, question.about) == ("thing-check", "cover")
    assert "cover" in visit.state.altered
    events = visit.say("confirmed")
    assert [one.thing for one in of_kind(events, ev.Restored)] == ["cover"]
    assert "cover" not in visit.state.altered
    assert asked(events).question != "thing-first"


def test_a_thing_that_must_be_back_and_is_not_is_asked_for_again() -> None:
    """ "Removed" where it must be fitted."""
    visit = cover_off()
    events = visit.say("removed")
    assert (asked(events).question, asked(events).about) == ("thing-first", "cover")
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
    assert (question.question, question.about) == ("restore", "outdoor-reset")


def test_a_setting_that_is_still_raised_is_asked_for_again() -> None:
    """ "Raised" where it must be as found: nothing is asked for its value."""
    visit = at("reset-raised")
    say(visit, "raised", "go back", "go back")
    question = asked(visit.say("raised"))
    assert (question.question, question.about) == ("thing-first", "outdoor-reset")


# After an interruption or a stop


def test_every_answer_of_a_recheck_is_taken() -> None:
    """Burner, rate and each altered thing, one after the other."""
    visit = at("found-maximum")
    events = visit.take(inp.Resumed(at=visit.state.now + 1, program="0.1.0"))
    answers = {"recheck-burner": "burner lit", "recheck-rate": "maximum"}
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
        for outcome, to in shipped().gate(gate_id).ways.items():
            stops = to in shipped().procedure.gates and isinstance(shipped().gate(to).gate, StopGate)
            answers = getattr(shipped().gate(gate_id).gate, "answers", {})
            if not (stops and outcome in answers):
                continue
            visit = at(*place)
            events = visit.say(answers[outcome].heard[0])
            if visit.state.question.kind == "answer-check":
                events = visit.say("confirmed")
            assert of_kind(events, ev.Stopped), (gate_id, outcome)
            (cleared,) = of_kind(say(visit, "cleared because it was put right", "confirmed"), ev.Cleared)
            assert cleared.gate == gate_id
            assert not isinstance(shipped().gate(cleared.gate).gate, StopGate | VerdictGate)
