"""After a hazard that one leaves nothing is asked before "outside"; nothing fires again without its re-entry.

What is asked after which stop: `../shared/SAFETY.md` F, written in `handsfree/trades/*/hazards.yaml`.
"""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import at, hear, of_kind, places, shipped, spoken, utterance

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.questions.stop_step import StopStep
from handsfree.session.rehearsal import Rehearsal

CATALOGUE = shipped().catalogue
STOPS = CATALOGUE.stops
FIRING = ("found-maximum", "gate")
LEAVE = [name for name, stop in STOPS.stops.items() if stop.people == "leave"]
STAY = [name for name, stop in STOPS.stops.items() if stop.people == "stay" and name in CATALOGUE.hazards]


@pytest.mark.parametrize("hazard", LEAVE)
@pytest.mark.parametrize(
    "place", [FIRING, ("site", "gate"), ("found-maximum", "waiting"), ("lockup-pressure", "gate")]
)
def test_after_a_hazard_to_leave_nothing_is_asked_before_outside(hazard: str, place: tuple[str, str]) -> None:
    visit = at(*place)
    hear(visit, CATALOGUE.hazards[hazard].heard[0])
    for words in (
        "carry on",
        "confirmed",
        "put right",
        "leave it off",
        "close the record",
        "no",
        "nine three",
        "[unk]",
    ):
        assert spoken(visit.say(words)) == [CATALOGUE.hazards[hazard].script]
        assert visit.state.question.kind == "outside"
    assert visit.wait() == ()


Action = tuple[str, int]
WORDS = [
    "carry on", "confirmed", "outside", "put right", "it was misheard", "false stop", "out", "still firing",
    "close the record", "no", "nine", "gas smell", "stop", "i got a shock", "hold on", "not done because so",
]  # fmt: skip
action = st.tuples(st.sampled_from(["words", "on", "on", "on", "any", "time", "resume"]), st.integers(0, 1000))


def _input(visit: Rehearsal, kind: str, number: int) -> inp.Input:
    now, state = visit.state.now, visit.state
    if kind == "time":
        return inp.TimePassed(at=now + number * 300)
    if kind == "resume":
        return inp.Resumed(at=now + 1000, program="test")
    if kind == "words":
        text = WORDS[number % len(WORDS)]
    elif isinstance(state.question, StopStep):
        words = CATALOGUE.steps[state.question.step].answers
        on = STOPS.steps[state.question.step].on
        text = words[on[0] if kind == "on" else list(words)[number % len(words)]][0]
    elif state.question.kind == "stopped":
        ways = state.question.ways  # type: ignore[union-attr]
        text = CATALOGUE.answers[ways[number % len(ways)]][0]
    elif state.question.kind == "recheck-thing":
        text = shipped().things[state.question.thing].altered  # type: ignore[union-attr]
    else:
        text = {"outside": "outside", "stop-talk": "so it was", "stop-reading": "two"}.get(
            state.question.kind, "yes"
        )
    return utterance(visit, text) if number % 2 else inp.Typed(at=now + 1200, text=text)


@cache
def _places() -> list[tuple[str, str]]:
    return sorted(key for key in places() if key[0])


PLACES = st.deferred(lambda: st.sampled_from(range(len(_places()))))


@settings(max_examples=300)
@given(PLACES, st.sampled_from(LEAVE), st.lists(action, max_size=30))
def test_whatever_is_said_after_a_hazard_to_leave_asks_nothing_before_outside(
    where: int, hazard: str, actions: list[Action]
) -> None:
    visit = at(*_places()[where])
    hear(visit, CATALOGUE.hazards[hazard].heard[0])
    for kind, number in actions:
        event = _input(visit, kind, number)
        if "outside" in (getattr(event, "text", ""), *(one.text[0] for one in getattr(event, "alternatives", ()))):
            break
        decided = visit.take(event)
        assert all(one.question.kind == "outside" for one in of_kind(decided, ev.Asked))
        assert visit.state.status == "stopped"


@settings(max_examples=400)
@given(
    PLACES,
    st.sampled_from([*LEAVE, *STAY]),
    st.booleans(),
    st.lists(action, max_size=60),
)
def test_no_sequence_reaches_a_firing_gate_without_the_re_entry(
    where: int, hazard: str, typed: bool, actions: list[Action]
) -> None:
    """From every question of the visit: whenever a firing gate asks again, the steps required were passed.

    But for a stop that was called none or misheard and left nobody outside: there what burns is asked first.
    """
    visit = at(*_places()[where])
    phrase = CATALOGUE.hazards[hazard].heard[0]
    stopped = of_kind(visit.say(phrase) if typed else hear(visit, phrase), ev.Stopped)
    since = len(visit.events)
    for kind, number in actions:
        if visit.over or (visit.state.status == "running" and not visit.state.rechecks):
            break
        visit.take(_input(visit, kind, number))
    asks_again = visit.state.status == "running" and not visit.state.rechecks and not visit.over
    if not stopped or not asks_again or not shipped().gate(visit.state.gate).gate.firing:
        return
    walked = {one.step for one in of_kind(visit.events[since:], ev.StepReported) if one.leads == "on"}
    hows = {one.how for one in of_kind(visit.events[since:], ev.ReEntered)}
    burns = [one for one in of_kind(visit.events[since:], ev.Rechecked) if one.answer == "firing"]
    if "walked" in hows:
        assert set(STOPS.stops[hazard].requires) <= walked
    elif STOPS.stops[hazard].people == "leave":
        assert {*STOPS.stops[hazard].misheard, "relit"} <= walked
    else:
        assert burns or "relit" in walked
