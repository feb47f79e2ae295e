"""Values are taken as they are called: one by one or at once, in order or by their names, never split silently.

Each story is one that a technician told: the values went wrong, and nothing was heard wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsed import at, hear, of_kind, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.measurement.reading import Reading
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.combustion.fuels import fuel_named
from handsfree.trades.combustion.plausibility import Situation, judge_pair

TEMPERATURES = "found-maximum-temperatures"


def pending(visit: Rehearsal) -> dict[str, str]:
    return {quantity: record.value for quantity, record in visit.state.pending.values.items()}


def test_values_called_one_by_one_fill_the_questions_in_their_order() -> None:
    """ "Eight point zero", "six point nine", "two four": CO2, O2, CO, and none overwrites another."""
    visit = at("found-maximum")
    assert spoken(visit.say("eight point zero")) == ["CO2 eight point zero."]
    assert spoken(visit.say("six point nine")) == ["O2 six point nine."]
    assert spoken(visit.say("two four maximum")) == ["CO two four."]
    assert pending(visit) == {"co2": "8.0", "o2": "6.9", "co": "24"}
    accepted = of_kind(visit.say("confirmed"), ev.ReadingAccepted)
    assert [(one.reading.quantity, one.reading.value) for one in accepted] == [
        ("co2", "8.0"),
        ("o2", "6.9"),
        ("co", "24"),
    ]


def test_the_next_value_is_asked_for_when_nobody_goes_on() -> None:
    """Heard, not typed: after the read-back of one value the tool asks for the next, and keeps what it has."""
    visit = at("found-maximum")
    hear(visit, "eight point zero")
    assert spoken(visit.wait()) == ["O2?"]
    hear(visit, "six point nine two four maximum")
    assert pending(visit) == {"co2": "8.0", "o2": "6.9", "co": "24"}


def test_a_confirmed_value_is_not_overwritten_by_the_next() -> None:
    """Each called and confirmed by itself."""
    visit = at("found-maximum")
    assert spoken(say(visit, "eight point zero", "confirmed")) == ["O2?"]
    assert spoken(say(visit, "six point nine", "confirmed")) == ["CO?"]
    say(visit, "two four", "confirmed", "maximum")
    (taken,) = visit.state.readings("found-maximum")
    assert {name: one.value for name, one in taken.values.items()} == {"co2": "8.0", "o2": "6.9", "co": "24"}


def test_values_are_called_by_their_names_in_any_order() -> None:
    """The read-back keeps the order of the prompt."""
    visit = at("found-maximum")
    events = visit.say("c o two four c o two eight point zero o two six point nine maximum")
    assert spoken(events) == ["CO2 eight point zero. O2 six point nine. CO two four."]
    assert pending(visit) == {"co2": "8.0", "o2": "6.9", "co": "24"}


def test_a_lone_value_when_all_are_called_is_never_guessed() -> None:
    """ "Nine point five" after a whole row may be CO2 or O2: "Which one?"."""
    visit = at("found-maximum")
    events = say(visit, "nine three four four one eight maximum", "nine point five")
    assert spoken(events) == ["Which one?"]
    assert pending(visit) == {"co2": "9.3", "o2": "4.4", "co": "18"}


def test_a_cardinal_is_one_value() -> None:
    """ "One hundred and thirty five" is a flue at 135 (and that is too hot), never 130 with an air of 5."""
    visit = at(TEMPERATURES)
    events = visit.say("one hundred and thirty five")
    assert pending(visit) == {"flue_temperature": "135"}
    assert spoken(events) == ["Flue one three five."]


def test_digits_that_may_be_one_value_or_two_are_asked() -> None:
    """ "Five seven" is a flue at 57, or a flue at 5 with an air of 7."""
    visit = at(TEMPERATURES)
    assert spoken(visit.say("five seven")) == ["Five seven, or five and seven?"]
    assert pending(visit) == {}
    visit.say("five seven")
    assert pending(visit) == {"flue_temperature": "57"}
    visit = at(TEMPERATURES)
    say(visit, "five seven", "five and seven")
    assert pending(visit) == {"flue_temperature": "5", "air_temperature": "7"}
    visit = at(TEMPERATURES)
    say(visit, "five seven", "flue fifty seven air nineteen")
    assert pending(visit) == {"flue_temperature": "57", "air_temperature": "19"}


def test_likelihood_decides_no_division() -> None:
    """Heard clearly, with a prior that knows flues: still asked."""
    visit = at(TEMPERATURES)
    assert spoken(hear(visit, "five seven")) == ["Five seven, or five and seven?"]


def test_after_a_pair_that_does_not_fit_all_values_are_taken_together() -> None:
    """CO2, O2 and CO at once, in the order of the prompt, each read back by its name."""
    visit = at("found-maximum")
    visit.say("nine four nine four two four maximum")
    assert visit.state.question.kind == "tied-values"
    events = visit.say("eight point zero six point nine two four")
    assert spoken(events) == ["CO2 eight point zero. O2 six point nine. CO two four."]
    assert pending(visit) == {"co2": "8.0", "o2": "6.9", "co": "24"}


def test_after_a_pair_that_does_not_fit_the_read_back_names_what_was_kept_too() -> None:
    """The CO of the first call was never read back: it is now, and stands where the prompt has it."""
    visit = at("found-maximum")
    events = say(visit, "nine four nine four two four maximum", "eight point zero six point nine")
    assert spoken(events) == ["CO2 eight point zero. O2 six point nine. CO two four."]


def test_two_ways_to_part_the_same_digits_are_asked_one_by_one() -> None:
    """ "Four one three three five two zero": 41, 3, 35, 20 or 4, 13, 35, 20."""
    visit = at(TEMPERATURES)
    assert spoken(visit.say("four one three three five two zero")) == ["One by one: flue?"]
    say(visit, "forty one", "three", "thirty five", "twenty")
    assert list(pending(visit).values()) == ["41", "3", "35", "20"]


NAMES = {
    "co2": "c o two",
    "o2": "o two",
    "co": "c o",
    "flue_temperature": "flue",
    "air_temperature": "air",
    "flow_temperature": "flow",
    "return_temperature": "return",
}
PAIRS = [("9.3", "4.4"), ("8.0", "6.9"), ("9.9", "3.4"), ("8.6", "5.7")]
"""CO2 and O2 of natural gas, from the balance of atoms (CHECKS.md, section 2)."""


@st.composite
def rows(draw: st.DrawFn) -> tuple[str, dict[str, str]]:
    """Return a gate with the values that a display may show there."""
    if draw(st.booleans()):
        co2, o2 = draw(st.sampled_from(PAIRS))
        return "found-maximum", {"co2": co2, "o2": o2, "co": str(draw(st.integers(3, 89)))}
    flue, air = draw(st.integers(41, 88)), draw(st.integers(3, 39))
    flow = draw(st.integers(35, 79))
    values = (flue, air, flow, draw(st.integers(20, flow)))
    return TEMPERATURES, dict(zip(list(NAMES)[3:], map(str, values), strict=True))


@given(row=rows(), data=st.data())
def test_what_is_accepted_is_what_was_called_or_it_was_asked(
    row: tuple[str, dict[str, str]], data: st.DataObject
) -> None:
    """Any values, named or in order, in any parts: nothing is split, swapped or overwritten in silence."""
    gate, values = row
    visit, said = at(gate), dict(values)
    order = list(values)
    named = data.draw(st.booleans(), "named")
    if named:
        order = data.draw(st.permutations(order), "order")
    cuts = data.draw(st.sets(st.integers(1, len(order) - 1)), "cuts") if len(order) > 1 else set()
    parts = [order[start:end] for start, end in pairwise([0, *sorted(cuts), len(order)])]
    how = data.draw(st.sampled_from(["digits", "typed"]), "how")
    for part in parts:
        before = pending(visit)
        visit.say(breath(part, said, named=named, how=how))
        asked = visit.state.question.kind != "read-back"
        if asked:
            assert pending(visit) == before  # nothing was taken before the answer
            return
    assert pending(visit) == {quantity: said[quantity] for quantity in values}


def breath(part: Sequence[str], values: dict[str, str], *, named: bool, how: str) -> str:
    """Return some values as they are called in one breath."""
    digits = shipped().numbers.digits
    words = [values[one] if how == "typed" else digits(Decimal(values[one])) for one in part]
    names = [f"{NAMES[one]} " if named else "" for one in part]
    return " ".join(name + word for name, word in zip(names, words, strict=True))


@pytest.mark.parametrize("words", ["fifty seven", "a hundred and twelve", "sixty", "one hundred"])
def test_a_number_of_tens_or_hundreds_is_never_cut(words: str) -> None:
    """Whatever the cardinal, one value is called."""
    visit = at(TEMPERATURES)
    visit.say(words)
    assert list(pending(visit)) == ["flue_temperature"]


@pytest.mark.parametrize("times", [2, 4])
def test_a_doubt_of_one_last_digit_is_no_other_fuel(times: int) -> None:
    """CO2 9.1 with O2 4.7 after pairs of 9.2 with 4.7: asked again, and no hydrogen in the gas for that."""
    learned = ((Decimal("9.2"), Decimal("4.7")),) * times
    situation = Situation(fuel_named("natural gas"), co2_computed=False, pairs=learned)
    pair = judge_pair(situation, Reading.written("co2", "9.1", "%"), Reading.written("o2", "4.7", "%"))
    assert (pair.consistent, pair.fits) == (False, ())
    propane = judge_pair(situation, Reading.written("co2", "10.4", "%"), Reading.written("o2", "5.0", "%"))
    assert "propane" in propane.fits


def test_a_digit_more_than_was_called_is_no_other_value() -> None:
    """Heard 19.8, and 19.88 nearly as likely: a yes is enough, and 19.6 nearly as likely is a doubt as before."""
    for other, doubtful in (("one nine point eight eight", False), ("one nine point six", True)):
        visit = at("working-pressure")
        rows = (("one nine point eight maximum", "0.000"), (f"{other} maximum", "-2.4"))
        (read,) = of_kind(hear(visit, *rows), ev.ReadBack)
        assert bool(read.doubtful) == doubtful
