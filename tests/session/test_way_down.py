"""When the work is left off: states as reported, the put-backs done then, who was told. Never "finished"."""

from __future__ import annotations

import pytest
from rehearsed import at, hear, of_kind, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.session.rehearsal import Rehearsal

FIRING = ("found-maximum", "gate")


def on_the_way_down() -> Rehearsal:
    visit = at(*FIRING)
    say(visit, "stop work", "leave it off")
    return visit


def report_things(visit: Rehearsal, words: str | None = None) -> list[str]:
    """Report each thing that is asked for; return the things in the order they were asked."""
    asked = []
    while visit.state.question.kind == "stop-thing":
        thing = visit.state.question.thing  # type: ignore[union-attr]
        asked.append(thing)
        visit.say(words or shipped().things[thing].restored)
    return asked


def test_a_stop_to_stay_leads_down_in_order_and_ends_made_safe() -> None:
    """Burner, gas, power, the put-backs, tag and lock, who was told, the class: then it is closed."""
    visit = on_the_way_down()
    assert visit.state.text == "Burner: switched off, not touched, or unknown?"
    say(visit, "burner switched off")
    assert visit.state.text == "Gas cock: closed, not touched, or unknown?"
    say(visit, "gas cock closed")
    assert visit.state.text == "Power: isolated, not touched, or unknown?"
    say(visit, "power isolated")
    assert report_things(visit) == ["probe", "sample-plug", "inlet-nipple", "meter-nipple"]
    assert visit.state.text == "Tag and lock: fitted, or not fitted?"
    say(visit, "tag fitted")
    assert visit.state.text == "Responsible person: told, refused, or absent?"
    say(visit, "person told")
    say(visit, "immediately dangerous")
    events = visit.say("confirmed")
    (closed,) = of_kind(events, ev.VisitClosed)
    assert closed.outcome == "made-safe"
    assert not {"probe", "sample-plug", "inlet-nipple", "meter-nipple"} & set(closed.still_altered)
    assert {"rate-hold", "thermostat"} <= set(closed.still_altered)
    assert spoken(events)[-1].startswith("Still altered:")


@pytest.mark.parametrize("words", ["not touched", "not known"])
def test_what_was_not_touched_or_is_not_known_is_reported_so(words: str) -> None:
    """It is no put-back, it stays altered, and the visit ends as left."""
    visit = on_the_way_down()
    say(visit, words, words, words)
    report_things(visit, words)
    say(visit, "no tag", "nobody there", "none")
    (closed,) = of_kind(visit.say("confirmed"), ev.VisitClosed)
    assert closed.outcome == "left-as-reported"
    assert {"probe", "inlet-nipple"} <= set(closed.still_altered)
    reported = of_kind(visit.events, ev.StepReported)
    assert all(one.stays_open for one in reported if one.answer != "told")


def test_one_open_answer_is_enough_for_left_as_reported() -> None:
    visit = on_the_way_down()
    say(visit, "burner switched off", "gas cock closed", "power isolated")
    report_things(visit)
    say(visit, "tag fitted", "person refused", "none")
    (closed,) = of_kind(visit.say("confirmed"), ev.VisitClosed)
    assert closed.outcome == "left-as-reported"


def test_i_must_leave_begins_the_way_down_at_once() -> None:
    """The order, then the first state; nothing on the way leads to readings."""
    visit = at(*FIRING)
    assert spoken(hear(visit, "i must leave")) == [
        "Burner off now. Gas cock closed. Then say what stands.",
        "Burner: switched off, not touched, or unknown?",
    ]


def test_who_left_is_asked_for_nothing_inside() -> None:
    """After gas: the supply outside, who was told, the class. No nipple, plug, burner or power."""
    visit = at(*FIRING)
    say(visit, "gas smell", "outside", "control closed", "nobody inside", "them", "leave it off")
    asked = [visit.state.text]
    for words in ("gas supply shut off", "person told", "immediately dangerous"):
        visit.say(words)
        asked.append(visit.state.text)
    assert asked == [
        "Gas supply: shut off, not touched, or unknown?",
        "Responsible person: told, refused, or absent?",
        "Class by local rules: say it, or none.",
        "Close it. Confirmed?",
    ]


def test_an_end_after_a_refused_re_entry_passes_the_way_down() -> None:
    visit = at(*FIRING)
    hear(visit, "stop")
    say(visit, "false stop", "out", "wait over", "rough start", "leave it off")
    assert visit.state.question.kind == "stop-step"
    assert visit.state.text.startswith("Burner:")


def test_a_stop_on_the_way_down_gives_its_order_first() -> None:
    """Gas smelled while things are put back: everyone out, and nothing inside is asked for any more."""
    visit = on_the_way_down()
    assert spoken(hear(visit, "gas smell")) == ["Gas. Touch no switch. Everyone out. Call from outside."]
    say(visit, "outside", "control closed", "nobody inside", "them", "leave it off")
    assert visit.state.text.startswith("Gas supply:")


def test_what_is_put_back_then_is_proven_nowhere_and_said_so() -> None:
    """The put-back is recorded beside the report that it rests on."""
    visit = on_the_way_down()
    say(visit, "burner switched off", "gas cock closed", "power isolated")
    events = visit.say(shipped().things["probe"].restored)
    kinds = [event.kind for event in events]
    assert kinds.index("step-reported") < kinds.index("restored")


def test_an_answer_that_was_called_wrong_is_asked_again() -> None:
    """Each in turn, back to the first; what was said to be put back is altered as before."""
    visit = on_the_way_down()
    say(visit, "not touched")
    assert visit.state.text.startswith("Gas cock:")
    assert spoken(visit.say("that was wrong")) == ["Burner: switched off, not touched, or unknown?"]
    say(visit, "burner switched off", "gas cock closed", "power isolated", "removed")
    assert "probe" not in visit.state.altered
    assert spoken(visit.say("that was wrong")) == ["Probe: removed, or inserted?"]
    assert "probe" in visit.state.altered
    say(visit, "that was wrong", "that was wrong")
    assert visit.state.text == "Gas cock: closed, not touched, or unknown?"
    say(visit, "gas cock closed", "power isolated")
    report_things(visit)
    say(visit, "tag fitted", "person told", "immediately dangerous")
    (closed,) = of_kind(visit.say("confirmed"), ev.VisitClosed)
    assert closed.outcome == "made-safe"


def test_before_the_first_answer_nothing_is_taken_back() -> None:
    visit = on_the_way_down()
    assert spoken(visit.say("that was wrong")) == ["Burner: switched off, not touched, or unknown?"]
    assert not of_kind(visit.events, ev.StepTakenBack)


def test_free_words_are_taken_back_at_the_next_question() -> None:
    """At the question for them, "that was wrong" is about the answer before, not the words themselves."""
    visit = on_the_way_down()
    say(visit, "burner switched off", "gas cock closed", "power isolated")
    report_things(visit)
    say(visit, "tag fitted", "person told", "no class")
    assert visit.state.text == "Close it. Confirmed?"
    say(visit, "that was wrong", "that was wrong")
    assert visit.state.text == "Responsible person: told, refused, or absent?"


def test_what_refused_the_way_back_in_is_not_taken_back() -> None:
    """A test that dropped stays one: the way down alone is open."""
    visit = at(*FIRING)
    say(visit, "stop work", "put right", "a valve stuck", "carry on")
    say(visit, *(shipped().things[thing].altered for thing in visit.state.rechecks))
    say(visit, "wait over", "rough start")
    assert visit.state.question.kind == "stopped"
    say(visit, "that was wrong")
    assert visit.state.question.kind == "stopped"


def test_what_the_way_down_offers_in_so_many_words_is_understood() -> None:
    """ "…, not touched, or unknown?": whoever says "unknown" is not asked again."""
    steps = shipped().catalogue.steps
    offered = {name: words for name, words in steps.items() if words.prompt.endswith("or unknown?")}
    assert {"burner-down", "gas-down", "power-down", "supply-down"} <= set(offered)
    for name, words in offered.items():
        assert "unknown" in words.answers["unknown"], name
        assert "not touched" in words.prompt, name
