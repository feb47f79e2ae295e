"""A stop that was none, but lasted for minutes: what may have changed meanwhile is asked, and read, again.

Under two minutes it is a cry that was none: only what burns is asked (`../shared/DIALOGUE.md`, Stopping). Minutes
under an order to switch off are as a long hold or a crash (there, Moving about): common practice, no source.
"""

from __future__ import annotations

import copy
from functools import cache
from pathlib import Path

import pytest
from rehearsed import DAY, at, hear, of_kind, play, say, shipped, spoken, technician, twin

from handsfree.demo.technician import InventedTechnician
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.outcomes import DROPPED_BACK, ENDS
from handsfree.procedure.moves import Moves
from handsfree.procedure.procedure import load_procedure
from handsfree.session.apply_stops import LONG_PAUSE_MS
from handsfree.session.rehearsal import Rehearsal
from handsfree.shipped import shipped_procedures

BRIEF_MS, LONG_MS = LONG_PAUSE_MS - 60_000, LONG_PAUSE_MS + 60_000


def stopped_for(visit: Rehearsal, ms: int) -> Rehearsal:
    """Cry stop, let time pass under the order, and say that it was none."""
    hear(visit, "stop")
    visit.until_asking()
    visit.take(inp.TimePassed(at=visit.state.now + ms))
    hear(visit, "false stop")
    return visit


def as_they_were(visit: Rehearsal) -> None:
    """Answer all that is asked again: it burns, at its rate, and every thing is as it was."""
    visit.say("still firing")
    while visit.state.rechecks:
        thing = shipped().things.get(visit.state.rechecks[0])
        visit.say("maximum" if thing is None else thing.altered)


def test_under_two_minutes_only_what_burns_is_asked() -> None:
    assert stopped_for(at("maximum-screw"), BRIEF_MS).state.rechecks == ("burner",)
    assert stopped_for(at("wiring"), BRIEF_MS).state.rechecks == ()


def test_after_minutes_the_rate_is_asked_and_what_is_put_back_at_a_stop() -> None:
    """Power and gas are not: it burns. Where nothing burns, what somebody may have put back is asked still."""
    visit = at("found-maximum")
    put_back = shipped().put_back_when_stopped(visit.state.altered)
    stopped_for(visit, LONG_MS)
    assert visit.state.rechecks == ("burner", "rate", *reversed(put_back))
    assert "probe" in put_back
    assert stopped_for(at("wiring"), LONG_MS).state.rechecks == ("cover",)


def test_what_was_put_back_meanwhile_is_asked_for_before_the_work_goes_on() -> None:
    visit = stopped_for(at("wiring"), LONG_MS)
    say(visit, "fitted", "confirmed")
    assert (visit.state.gate, visit.state.question.kind) == ("wiring", "thing-first")


def turned_after(ms: int) -> Rehearsal:
    """Go on to the screw after a stop of so long before it was reached."""
    visit = stopped_for(at("maximum-screw"), ms)
    as_they_were(visit)
    say(visit, "within reach", "removed")
    return visit


def test_nothing_is_turned_by_what_was_read_minutes_of_a_stop_ago() -> None:
    """A boiler may have cycled meanwhile: the rate is held, the readings settle anew, then comes the advice."""
    visit = turned_after(BRIEF_MS)
    assert visit.state.gate == "maximum-turn"
    visit = turned_after(LONG_MS)
    assert not of_kind(visit.events[-20:], ev.Advised)
    (back,) = of_kind(visit.events[-20:], ev.WentBack)
    assert (back.gate, back.to) == ("maximum-turn", "first-maximum-hold")
    assert visit.state.text == "Hold maximum."
    visit.say("maximum held")
    assert (visit.state.gate, visit.state.question.kind) == ("first-maximum", "waiting")


@pytest.mark.parametrize("interrupt", ["hold", "crash"])
def test_nor_by_what_was_read_before_a_long_hold_or_an_interrupted_program(interrupt: str) -> None:
    visit = at("maximum-screw")
    if interrupt == "hold":
        visit.say("hold on")
        visit.take(inp.TimePassed(at=visit.state.now + LONG_MS))
        visit.say("carry on")
    else:
        visit.take(inp.Resumed(at=visit.state.now + LONG_MS, program="test"))
    as_they_were(visit)
    say(visit, "within reach", "removed")
    assert visit.state.text == "Hold maximum."
    assert not of_kind(visit.events, ev.Advised)


def test_a_value_misheard_minutes_ago_has_the_rate_asked_too() -> None:
    visit = at("found-maximum")
    hear(visit, "nine three four four nine zero zero maximum")
    say(visit, "confirmed")
    visit.take(inp.TimePassed(at=visit.state.now + LONG_MS))
    say(visit, "it was misheard", "nine three", "four four", "one eight")
    assert visit.state.rechecks[:2] == ("burner", "rate")
    assert spoken(visit.events[-6:])[-1] == "Burner: firing, or out?"


@pytest.mark.parametrize(
    ("ms", "asked"), [(BRIEF_MS, "Turn made?"), (LONG_MS, "Turn nothing now. Turned before?")]
)
def test_a_turn_advised_before_minutes_of_a_stop_is_not_to_be_made_any_more(ms: int, asked: str) -> None:
    """It may have been made before the cry, so it is asked for; with none the readings are taken anew."""
    visit = stopped_for(at("maximum-turn", "turn"), ms)
    as_they_were(visit)
    assert visit.state.text == asked
    say(visit, "no turn", "confirmed")
    assert visit.state.question.kind == "waiting"
    assert visit.plan.gate(visit.state.gate).gate.effects.kept_at


@cache
def _held_for_the_second_time() -> tuple[Rehearsal, InventedTechnician]:
    """The second maximum was read and judged; the minimum is to be held and read before both are compared."""
    visit, person = Rehearsal(shipped(), DAY), technician(shipped())
    play(visit, person, until="second-minimum-hold")
    return visit, person


def led_on(interrupt: str, ms: int) -> list[ev.WentBack]:
    """Interrupt there for so long, let the technician lead the visit to its end, and return where it went back."""
    visit, person = _held_for_the_second_time()
    visit, person = twin(visit), copy.deepcopy(person, {id(shipped()): shipped()})
    before = len(visit.events)
    if interrupt == "hold":
        visit.say("hold on")
        visit.take(inp.TimePassed(at=visit.state.now + ms))
        visit.say("carry on")
    else:
        person.notice(stopped_for(visit, ms).events[before:], visit.state.now / 1000)
    play(visit, person)
    assert visit.state.outcome == "finished"
    return of_kind(visit.events[before:], ev.WentBack)


def test_no_verdict_compares_what_was_read_before_minutes_of_a_stop_with_what_was_read_after_it() -> None:
    """The maximum is held and read again; the first pass stands: its rates were read anew since."""
    (back,) = led_on("stop", LONG_MS)
    assert (back.gate, back.to) == ("second-rule", "second-maximum-hold")


@pytest.mark.parametrize(("interrupt", "ms"), [("stop", BRIEF_MS), ("hold", LONG_MS), ("hold", 20 * LONG_MS)])
def test_a_short_stop_and_a_hold_of_any_length_have_nothing_read_again(interrupt: str, ms: int) -> None:
    assert led_on(interrupt, ms) == []


def test_what_is_to_be_read_again_is_void_at_once() -> None:
    """So nobody is sent back for it twice, whatever way they take to the verdict."""
    visit, person = _held_for_the_second_time()
    visit, person = twin(visit), copy.deepcopy(person, {id(shipped()): shipped()})
    person.notice(stopped_for(visit, LONG_MS).events[-20:], visit.state.now / 1000)
    play(visit, person, until="second-maximum-hold")
    assert visit.state.readings("second-maximum") == ()
    assert "Readings too old. Back to the rate." in spoken(visit.events[-20:])


@pytest.mark.parametrize("file", shipped_procedures(), ids=lambda file: file.stem)
def test_whoever_goes_back_for_readings_can_come_to_the_verdict_again(file: Path) -> None:
    """By the moves of the procedure, from the gate where the rate is held, or that takes them, of each verdict."""
    procedure = load_procedure(file)
    moves = procedure.moves
    for verdict in procedure.gates.values():
        judging = verdict.gate.effects.judges
        for kept_at in () if judging is None else judging.using.values():
            for reading in procedure.gates.values():
                if reading.gate.effects.kept_at != kept_at or verdict.id not in reached(moves, reading.id):
                    continue  # it never judges what this gate takes
                held = moves.transitions(reading.id).get(DROPPED_BACK, reading.id)
                assert verdict.id in reached(moves, held), (reading.id, verdict.id)


def reached(moves: Moves, gate: str) -> set[str]:
    """Return the gates that a gate leads to."""
    found: set[str] = set()
    left = [gate]
    while left:
        for to in moves.transitions(left.pop()).values():
            if to not in found and to not in ENDS:
                found.add(to)
                left.append(to)
    return found
