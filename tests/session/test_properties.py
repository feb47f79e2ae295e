"""Whatever is said, heard or left unsaid: no exception, nothing altered forgotten, the same events again."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import DAY, at, of_kind, places, shipped, twin, utterance

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import from_record, to_record
from handsfree.events.state import State
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.session.apply import after, apply
from handsfree.session.decide import decide
from handsfree.session.rehearsal import Rehearsal

PLACES = sorted(key for key in places() if key[0])
CATALOGUE = shipped().catalogue
EVERYWHERE = [text for texts in CATALOGUE.everywhere.values() for text in texts]
HAZARDS = [text for hazard in CATALOGUE.hazards.values() for text in hazard.heard]
ANSWERS = [text for texts in (*CATALOGUE.answers.values(), *CATALOGUE.rates.values()) for text in texts]
GARBAGE = ["", "[unk]", "blue", "nine nine nine nine nine nine", "point", "-", "9.3.3", "1e9", "c o", "ü", "{job}"]

step = st.tuples(
    st.sampled_from(["grammar", "grammar", "grammar", "likely", "likely", "words", "time", "device", "resume"]),
    st.integers(0, 10_000),
    st.integers(0, 2),
)


def sentence(automaton: WordAutomaton, choices: int) -> str:
    """Return a sentence of a grammar, led by a number: each digit picks the way on."""
    leaving: dict[int, list[tuple[str | None, int]]] = {}
    for source, word, target in automaton.arcs:
        leaving.setdefault(source, []).append((word, target))
    state, words = 0, []
    for _ in range(24):
        ways = leaving.get(state, [])
        if not ways or (state in automaton.finals and choices % 3 == 0 and words):
            break
        word, state = ways[choices % len(ways)]
        choices = choices * 1103515245 + 12345 >> 3
        if word is not None:
            words.append(word)
    return " ".join(words)


@cache
def automaton_of(question: object, gate: str) -> WordAutomaton:
    return shipped().grammar(question, gate).automaton  # type: ignore[arg-type]


def likely(visit: Rehearsal) -> str:
    """Return an answer that leads on."""
    gate, question = shipped().gate(visit.state.gate).gate, visit.state.question
    match question.kind:
        case "to-do" | "choice":
            return next(iter(gate.phrases.values()))[0]
        case "rate":
            return gate.effects.rate or "maximum"
        case "still-firing":
            return "still firing"
        case "recheck-thing" | "thing-first":
            return shipped().things[question.thing].altered
        case "put-back":
            return shipped().things[question.thing].restored
    return "confirmed"


def an_input(visit: Rehearsal, kind: str, number: int, how: int) -> inp.Input:
    """Return one input of a kind for the question at hand; times never go back."""
    now = visit.state.now
    if kind == "time":
        return inp.TimePassed(at=now + (number % 200) * 700)
    if kind == "device":
        one = inp.DeviceLost if how else inp.DeviceFound
        return one(at=now + number % 3, device=("microphone", "recogniser", "voice")[number % 3])
    if kind == "resume":
        return inp.Resumed(at=now + 1000, program="test")
    if kind == "words":
        pool = EVERYWHERE + HAZARDS[:1] + ANSWERS + GARBAGE
        text = pool[number % len(pool)]
    elif kind == "likely":
        text = likely(visit)
    else:
        text = sentence(automaton_of(visit.state.question, visit.state.gate), number)
    if how == 0:
        return inp.Typed(at=now + 1200, text=text)
    rival = sentence(automaton_of(visit.state.question, visit.state.gate), number * 7 + 1)
    return utterance(
        visit,
        (text, "0.000"),
        ("[unk]", f"-{number % 6}.500"),
        (rival, f"-{number % 7}.750"),
        confidence=("1.000", "0.500")[number % 2],
        overflow=number % 11 == 0,
        clipped=number % 13 == 0,
        over_voice=number % 17 == 0,
        sound="e" * 64 if number % 2 else None,
    )


Steps = Sequence[tuple[str, int, int]]


def run(place: tuple[str, str], steps: Steps) -> tuple[Rehearsal, list[inp.Input]]:
    """Take the steps from a place; check after each what must always hold."""
    visit, taken = at(*place), []
    for kind, number, how in steps:
        if visit.over:
            break
        event = an_input(visit, kind, number, how)
        taken.append(event)
        before, now = dict(visit.state.altered), visit.state.now
        decided = visit.take(event)
        gone = set(before) - set(visit.state.altered)
        assert gone <= {one.thing for one in of_kind(decided, ev.Restored)}
        new = set(visit.state.altered) - set(before)
        assert new <= {one.thing for one in of_kind(decided, ev.Altered)}
        assert visit.state.now >= now
        assert all(event.at <= one.at for one in decided if hasattr(one, "at"))  # type: ignore[attr-defined]
        for closed in of_kind(decided, ev.VisitClosed):
            assert closed.still_altered == tuple(visit.state.altered)
            assert closed.outcome != "finished" or not visit.state.altered
        for taken_value in of_kind(decided, ev.ReadingAccepted):
            assert taken_value.how != "silence" or taken_value.reading.quantity in {"co2", "o2"}
    return visit, taken


@settings(max_examples=400)
@given(st.sampled_from(PLACES), st.lists(step, min_size=1, max_size=25))
def test_any_sequence_of_inputs_is_decided_and_forgets_nothing_altered(
    place: tuple[str, str], steps: Steps
) -> None:
    """Sentences of the grammar, garbage, time, lost devices, interruptions, from any question of the visit."""
    run(place, steps)


@settings(max_examples=120)
@given(st.sampled_from(PLACES), st.lists(step, min_size=1, max_size=20))
def test_the_same_inputs_give_the_same_events(place: tuple[str, str], steps: Steps) -> None:
    """Twice the same, and once more after the events were written as JSON and read again."""
    visit, taken = run(place, steps)
    again = at(*place)
    for event in taken:
        again.take(event)
    assert again.events == visit.events
    state = State()
    for event in visit.events:
        state = apply(shipped(), state, from_record(*to_record(event)))
    assert state == visit.state


def test_the_state_is_its_events_applied() -> None:
    """The whole invented visit: applying the recorded events alone gives the state of the one that decided."""
    visit = places()["", "end"]
    assert after(shipped(), State(), tuple(visit.events)) == visit.state


def test_deciding_changes_nothing() -> None:
    """Decide is pure: the state it was given and the plan answer the same afterwards."""
    visit = at("found-maximum")
    event = inp.Typed(at=visit.state.now + 1, text="nine three four four one eight maximum")
    first = decide(shipped(), visit.state, event)
    assert decide(shipped(), visit.state, event) == first
    assert visit.state == at("found-maximum").state


def test_a_closed_visit_decides_nothing() -> None:
    """Whatever comes after the last event."""
    visit = twin(places()["", "end"])
    for event in (
        inp.Typed(at=visit.state.now + 1, text="stop work"),
        inp.TimePassed(at=visit.state.now + 2),
        inp.Resumed(at=visit.state.now + 3, program="test"),
    ):
        assert decide(shipped(), visit.state, event) == ()


def test_a_finished_visit_has_nothing_altered() -> None:
    """The invented visit ends restored, on the day it was opened."""
    visit = places()["", "end"]
    (closed,) = of_kind(visit.events, ev.VisitClosed)
    assert (closed.outcome, closed.still_altered) == ("finished", ())
    assert visit.state.day == DAY.isoformat()
