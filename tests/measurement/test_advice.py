"""Advice: the maker's way, never more than the maker's step, learned, and refused with a reason."""

from __future__ import annotations

import statistics
from decimal import Decimal

import pytest
from adjustment_moves import compare
from hypothesis import given
from hypothesis import strategies as st

from handsfree.measurement.advice import AdjusterData, AdjusterMove, Advice, Refusal, Task, advise, learned_gain
from handsfree.measurement.verdict import Band
from handsfree.problem import Problem

D = Decimal
BANDS = {
    "maximum": Band(D("9.0"), D("9.7"), "invented sheet"),
    "minimum": Band(D("8.7"), D("9.5"), "invented sheet"),
}
ADJUSTERS = {"maximum": AdjusterData("clockwise", 2), "minimum": AdjusterData("counter-clockwise", 1)}
WITHIN_TWO_TENTHS = Band(D("-0.2"), D("0.2"), "invented sheet")
TASK = Task(BANDS, ADJUSTERS)
PAIRED = Task(BANDS, ADJUSTERS, WITHIN_TWO_TENTHS)


def move(eighths, before, after, adjuster="maximum", rate=None):
    return AdjusterMove(adjuster, eighths, rate or adjuster, D(before), D(after))


@pytest.mark.parametrize(
    ("rate", "value", "direction"),
    [
        ("maximum", "8.5", "clockwise"),
        ("maximum", "10.2", "counter-clockwise"),
        ("minimum", "8.2", "counter-clockwise"),
        ("minimum", "9.9", "clockwise"),
    ],
)
def test_the_way_is_the_makers(rate, value, direction):
    """Directions differ between makers and between the two adjusters; the sheet's map decides."""
    answer = advise(rate, {rate: D(value)}, TASK, [])
    assert isinstance(answer, Advice)
    assert (answer.adjuster, answer.direction) == (rate, direction)


def test_the_step_never_passes_the_makers_cap():
    """However far the reading is off, one step is at most what the maker allows, and says so."""
    answer = advise("maximum", {"maximum": D("6.0")}, TASK, [])
    assert answer.eighths == 2
    assert answer.reason == "6.0 is below 9.0 to 9.7; the maker allows 2 eighths at a time"


def test_in_band_nothing_is_adjusted_even_when_not_demonstrated():
    """On the very edge of its band a setting is left alone."""
    for value in ("9.0", "9.7", "9.35"):
        answer = advise("maximum", {"maximum": D(value)}, TASK, [])
        assert answer == Refusal("nothing to adjust", f"{value} is within 9.0 to 9.7", "within", D(value))


def test_nothing_is_advised_while_anything_blocks():
    """An open stop, gas pressure or the maker's word go before any number."""
    answer = advise("maximum", {"maximum": D("8.0")}, TASK, [], ["a stop limit is open", "gas pressure"])
    assert answer == Refusal("blocked", "a stop limit is open", "blocked")


def test_without_the_makers_map_or_limit_there_is_no_advice():
    """No direction in the sheet: no advice. No band loaded: see the manual."""
    assert advise("maximum", {"maximum": D("8.0")}, Task(BANDS, {}), []).kind == "blocked"
    assert "see the manual" in advise("maximum", {"maximum": D("8.0")}, Task({}, ADJUSTERS), []).reason


def test_the_gain_is_learned_from_the_moves():
    """A screw that answers strongly is turned less the next time; a weak one more."""
    strong = [move(1, "8.0", "8.6")]
    weak = [move(1, "8.0", "8.05"), move(1, "8.05", "8.1")]
    cap = Task(BANDS, {"maximum": AdjusterData("clockwise", 8)})
    after_strong = advise("maximum", {"maximum": D("8.2")}, cap, strong)
    after_weak = advise("maximum", {"maximum": D("8.2")}, cap, weak)
    assert after_strong.gain > D("0.4") > D("0.2") > after_weak.gain
    assert after_strong.eighths < after_weak.eighths


def test_a_move_back_is_trusted_less():
    """The play of a screw turned back hides part of the answer."""
    on = learned_gain(ADJUSTERS["maximum"], [move(2, "8.0", "8.6"), move(1, "8.6", "8.9")], "maximum")
    back = learned_gain(ADJUSTERS["maximum"], [move(2, "8.0", "8.6"), move(-1, "8.6", "8.3")], "maximum")
    assert back[1] > on[1]


def test_a_reading_that_moves_against_the_turns_asks_for_help():
    """Turned richer and it grows leaner: wrong screw, wrong way, or something else moves."""
    moves = [move(2, "8.5", "8.0"), move(2, "8.0", "7.4")]
    answer = advise("maximum", {"maximum": D("7.4")}, TASK, moves)
    assert answer.kind == "get help"
    assert "against the turns" in answer.reason


def test_a_screw_that_does_not_answer_asks_for_help():
    """Three moves without an answer are enough."""
    moves = [move(2, "8.0", "8.0") for _ in range(3)]
    assert advise("maximum", {"maximum": D("8.0")}, TASK, moves).reason == "the reading hardly answers the turns"


def test_two_moves_that_lead_away_ask_for_help():
    """Twice further from the band is enough, whatever the gain."""
    moves = [move(-1, "8.8", "8.6"), move(-1, "8.6", "8.4")]
    answer = advise("maximum", {"maximum": D("8.4")}, TASK, moves)
    assert answer == Refusal("get help", "two turns running took the reading further away", "further")


def test_an_eighth_too_coarse_is_told():
    """When one eighth moves the reading by more than twice what is missing, turning on only swings it."""
    narrow = Task({"maximum": Band(D("9.3"), D("9.4"), "s")}, {"maximum": AdjusterData("clockwise", 1)})
    moves = [move(1, "8.6", "9.2"), move(1, "9.2", "9.8"), move(-1, "9.8", "9.2")]
    assert "too coarse" in advise("maximum", {"maximum": D("9.2")}, narrow, moves).reason


def test_moves_and_travel_are_bounded():
    """After eight moves, or sixteen eighths from where it was found, the tool says to get help."""
    slow = Task(BANDS, {"maximum": AdjusterData("clockwise", 8)}, most_moves=3, most_travel=10)
    three = [move(2, "7.0", "7.3"), move(2, "7.3", "7.6"), move(2, "7.6", "7.9")]
    assert "3 moves made" in advise("maximum", {"maximum": D("7.9")}, slow, three).reason
    far = [move(8, "6.0", "7.0")]
    assert "more than 10 eighths" in advise("maximum", {"maximum": D("7.0")}, slow, far).reason


def test_minimum_aims_at_what_maximum_allows():
    """With ±0.2 between the rates minimum may only be where maximum is, in its own band."""
    answer = advise("minimum", {"maximum": D("9.1"), "minimum": D("9.4")}, PAIRED, [])
    assert isinstance(answer, Advice)
    assert answer.reason.startswith("9.4 is above 8.9 to 9.3")


def test_when_minimum_cannot_follow_maximum_moves_first():
    """Maximum at its upper edge leaves minimum no room; then maximum is brought down."""
    current = {"maximum": D("9.7"), "minimum": D("9.0")}
    assert advise("minimum", current, PAIRED, []).kind == "other rate first"
    assert advise("maximum", current, PAIRED, []).direction == "counter-clockwise"


def test_both_rates_fine_means_nothing_to_adjust():
    """As found in band and within the rule: adjust nothing, also at the edge."""
    current = {"maximum": D("9.6"), "minimum": D("9.5")}
    assert {advise(rate, current, PAIRED, []).kind for rate in current} == {"nothing to adjust"}


def test_a_sheet_that_contradicts_itself_asks_for_help():
    """Bands and the rule between the rates that no setting can meet are told, not chased."""
    impossible = Task(BANDS, ADJUSTERS, Band(D("2.0"), D("3.0"), "a misprint"))
    assert advise("maximum", {"maximum": D("9.3")}, impossible, []).kind == "get help"


def test_advice_needs_a_reading():
    """A rate that was not read since the last move is a mistake of the caller, told in words."""
    with pytest.raises(Problem, match="no settled reading at the minimum rate"):
        advise("minimum", {"maximum": D("9.3")}, TASK, [])


moves_drawn = st.lists(
    st.builds(
        AdjusterMove,
        st.sampled_from(["maximum", "minimum"]),
        st.integers(-8, 8),
        st.sampled_from(["maximum", "minimum"]),
        st.decimals(5, 13, places=1),
        st.decimals(5, 13, places=1),
    ),
    max_size=10,
)


@given(
    st.sampled_from(["maximum", "minimum"]),
    st.decimals(0, 20, places=1),
    st.decimals(0, 20, places=1),
    moves_drawn,
)
def test_any_history_gives_a_bounded_step_towards_the_band(rate, maximum, minimum, moves):
    """Whatever was read and turned: one eighth up to the maker's step, and always towards the target."""
    answer = advise(rate, {"maximum": maximum, "minimum": minimum}, PAIRED, moves)
    assert answer.reason
    if isinstance(answer, Advice):
        value = {"maximum": maximum, "minimum": minimum}[rate]
        assert 1 <= answer.eighths <= ADJUSTERS[rate].most_eighths
        assert (answer.direction == ADJUSTERS[rate].richer) == (answer.target > value)


def test_simulated_boilers_are_set_in_fewer_turns_than_by_blind_eighths():
    """Interaction, lost motion, noise and lag: a smaller median than blind eighths, and no divergence."""
    results = compare(400)
    advised = [row[0] for row in results["advice"] if row[1] == "done"]
    blind = [row[0] for row in results["blind eighths"] if row[1] == "done"]
    assert len(advised) > 0.9 * len(results["advice"])
    assert statistics.median(advised) < statistics.median(blind)
    assert statistics.quantiles(advised, n=10)[-1] < 0.75 * statistics.quantiles(blind, n=10)[-1]
    assert max(row[4] for row in results["advice"]) < 0.4
