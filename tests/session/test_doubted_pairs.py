"""A pair that cannot be true, called while readings still move, costs its own set and nothing else."""

from __future__ import annotations

import pytest
from rehearsed import at, hear, of_kind, say, spoken

from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.session.advising import advice_for
from handsfree.session.apply import after, apply
from handsfree.session.rehearsal import Rehearsal
from handsfree.session.situation import known_at, settled_together

TRUE = "nine point three four point four one eight maximum"
UNTRUE = "nine point four nine point four one eight maximum"
"""CO2 9.4 with O2 9.4: no natural gas (CO2 near 6.6 belongs to it), but a display whose two cells differ in
speed may show it for a while after a change."""


ON_THE_LINE = "nine point four four point four one eight maximum"


def one_set(visit: Rehearsal, row: str) -> tuple[ev.Decision, ...]:
    """Call a set as the display shows it, twice where the tool asks again; return what the last word led to."""
    visit.until_asking()
    events = visit.say(row)
    for _ in range(6):
        kind = visit.state.question.kind
        if kind not in {"tied-values", "read-back", "once-more", "rate"}:
            return events
        answers = {"tied-values": " ".join(row.split()[:6]), "once-more": "one eight", "rate": "maximum"}
        events = visit.say(answers.get(kind, "confirmed"))
    raise AssertionError(f"no set taken: {visit.state.question}")


def sets_of(*rows: str) -> tuple[Rehearsal, tuple[ev.Decision, ...]]:
    visit, events = at("found-maximum"), ()
    for row in rows:
        assert visit.state.gate == "found-maximum"
        events = one_set(visit, row)
    return visit, events


def settled(visit: Rehearsal) -> dict[str, str]:
    return {q: one.reading.value for q, one in visit.state.settled.get("found-maximum", {}).items()}


def test_a_true_pair_called_later_is_taken_and_judged() -> None:
    """One set while the display still moved, three true ones: settled on those, the verdict is given."""
    visit, _ = sets_of(UNTRUE, TRUE, TRUE, TRUE)
    assert visit.state.gate != "found-maximum"
    assert settled(visit) == {"co2": "9.30", "o2": "4.40", "co": "18.0"}
    assert not visit.state.doubted("found-maximum")
    assert advice_pair_refused(visit) is False


def advice_pair_refused(visit: Rehearsal) -> bool:
    gate = visit.plan.gate("maximum-turn").gate.model_copy(update={"using": "found-maximum"})  # type: ignore[union-attr]
    return "do not fit" in advice_for(visit.plan, visit.state, gate).reason  # type: ignore[arg-type]


def test_the_doubted_pair_is_not_averaged_with_true_ones() -> None:
    """Three sets are there and a fourth is asked for; the record says why."""
    visit, events = sets_of(UNTRUE, TRUE, TRUE)
    assert visit.state.gate == "found-maximum"
    assert spoken(events) == ["Again in 30."]
    assert settled(visit) == {}
    assert {one.quantity for one in of_kind(events, ev.SettlingJudged)} == {"co"}  # CO is no part of the pair
    (doubted,) = of_kind(visit.events[len(at("found-maximum").events) :], ev.PairDoubted)
    assert doubted.reason.startswith("CO2 9.4 with O2 9.4 does not fit natural gas")
    refused = of_kind(visit.events, ev.ReadingRefused)
    assert {one.reading.quantity for one in refused if one.pair} == {"co2", "o2"}
    assert [len(taken.values) for taken in visit.state.readings("found-maximum")] == [3, 3, 3]


def test_a_pair_doubted_to_the_end_is_never_judged() -> None:
    """The person is believed, nothing there passes, no turn is advised from it."""
    visit, _ = sets_of(UNTRUE, UNTRUE, UNTRUE)
    assert visit.state.gate != "found-maximum"
    assert visit.state.doubted("found-maximum")
    assert advice_pair_refused(visit)


def test_a_doubted_last_set_does_not_ride_on_true_ones() -> None:
    """Two true sets and then one that cannot be true: not settled."""
    visit, _ = sets_of(TRUE, TRUE, UNTRUE)
    assert visit.state.gate == "found-maximum"
    assert visit.state.doubted("found-maximum")


def test_true_and_untrue_by_turns_never_settles() -> None:
    """No three in a row agree: after the most sets it is called unsettled, and the rate is held again."""
    visit, events = sets_of(*([TRUE, UNTRUE] * 4))
    assert "Not settled after 8 sets." in spoken(events)
    assert visit.state.gate == "found-maximum-hold"


def test_a_true_pair_is_not_doubted_for_what_a_moving_display_taught() -> None:
    """CO2 9.6 with O2 4.4 lies 0.2 above the fuel's line, which a measuring analyser may; 9.4 lies on the line.

    The first was shown while the display moved, so after it the second looks untrue and is asked again. Called
    twice it stands, and the place settles on it and is judged.
    """
    visit = at("found-maximum")
    one_set(visit, "nine point six four point four one eight maximum")
    visit.until_asking()
    visit.say(ON_THE_LINE)
    assert visit.state.question.kind == "tied-values"
    for _ in range(6):
        if visit.state.gate != "found-maximum":
            break
        one_set(visit, ON_THE_LINE)
        assert not visit.state.doubted("found-maximum")
    assert settled(visit)["co2"] == "9.40"
    assert not of_kind(visit.events, ev.PairDoubted)


def test_what_has_settled_speaks_against_a_pair_called_twice() -> None:
    """Settled at 9.6 with 4.4, the analyser is known to show 0.2 too much: 9.2 with 4.4 is doubted then."""
    visit = at("found-maximum")
    row = "nine point two four point four one eight maximum"
    one_set(visit, row)
    assert not visit.state.doubted("found-maximum")
    visit = at("found-minimum")
    place = ev.ReadingRecord(quantity="co2", value="9.60", unit="%", resolution="0.01")
    oxygen = ev.ReadingRecord(quantity="o2", value="4.40", unit="%", resolution="0.01")
    for reading in (place, oxygen):
        told = ev.ValueSettled(kept_at="found-maximum", reading=reading, uncertainty="0")
        visit.state = apply(visit.plan, visit.state, told)
    one_set(visit, row.replace("maximum", "minimum"))
    assert visit.state.doubted("found-minimum")


def test_the_check_learns_from_true_pairs() -> None:
    """Asked again by every pair accepted; doubted by one of each settled place; untrue ones teach nothing."""
    taught = []
    for rows in ((UNTRUE, TRUE), (TRUE, TRUE, TRUE), (UNTRUE, UNTRUE, UNTRUE)):
        visit, _ = sets_of(*rows)
        both = known_at(visit.plan, visit.state).together, settled_together(visit.plan, visit.state)
        taught.append([[tuple(map(str, pair.values())) for pair in pairs] for pairs in both])
    assert taught == [
        [[("9.3", "4.4")], []],
        [[("9.3", "4.4")] * 3, [("9.30", "4.40")]],
        [[], []],
    ]


@pytest.mark.parametrize("correction", ["no o two four point three", "no c o two six point six"])
def test_a_correction_that_makes_the_pair_true_ends_the_doubt(correction: str) -> None:
    """At the read-back of the pair that was called twice."""
    visit = at("found-maximum")
    say(visit, UNTRUE, "nine point four nine point four")
    assert visit.state.pair_doubted
    visit.say(correction)
    assert not visit.state.pair_doubted
    say(visit, "confirmed")
    assert visit.state.question.kind == "waiting"
    assert not visit.state.doubted("found-maximum")


def test_a_correction_that_stays_untrue_stays_doubted() -> None:
    """Another value that does not fit either."""
    visit = at("found-maximum")
    say(visit, UNTRUE, "nine point four nine point four", "no o two nine point two", "confirmed")
    assert visit.state.question.kind == "waiting"
    assert "O2 9.2" in visit.state.doubted("found-maximum")


def test_a_second_call_keeps_the_doubt() -> None:
    """Silence accepts no doubted pair; each value called once more, the pair is as untrue as before."""
    visit = at("found-maximum")
    hear(visit, UNTRUE)
    hear(visit, "nine point four nine point four")
    visit.wait()
    for words, quantity in (("nine point four", "co2"), ("nine point four", "o2"), ("one eight", "co")):
        assert visit.state.question.quantity == quantity
        (accepted,) = of_kind(hear(visit, words), ev.ReadingAccepted)
        assert accepted.how == "twice"
    assert visit.state.question.kind == "waiting"
    assert visit.state.doubted("found-maximum")


def test_that_was_wrong_begins_the_set_anew() -> None:
    """What was refused and the rate that was called belonged to the set taken back."""
    visit = at("found-maximum")
    say(visit, UNTRUE, "that was wrong")
    visit.say(UNTRUE)
    assert visit.state.question.kind == "tied-values"
    visit = at("found-maximum")
    say(visit, TRUE, "that was wrong", "nine point three four point four one eight", "confirmed")
    assert visit.state.question.kind == "rate"


def test_values_called_during_the_wait_are_refused_with_the_reason_and_asked_for_later() -> None:
    """Nothing is spoken in the silent wait; nothing counts as given, and the whole set is asked for at its end."""
    visit = at("found-maximum", "waiting")
    until = visit.state.until
    events = visit.say(TRUE)
    (refused,) = of_kind(events, ev.NotUnderstood)
    assert "the wait is not over" in refused.why
    assert spoken(events) == []
    assert (visit.state.question.kind, visit.state.until) == ("waiting", until)
    assert "found-maximum" not in visit.state.sets
    assert visit.state.pending.values == {}
    assert spoken(visit.wait()) == ["CO2, O2, CO?"]
    one_set(visit, TRUE)
    (taken,) = visit.state.readings("found-maximum")
    assert {quantity: reading.value for quantity, reading in taken.values.items()} == {
        "co2": "9.3",
        "o2": "4.4",
        "co": "18",
    }


def test_recovery_gives_the_same_sets() -> None:
    """Only applying the recorded events gives the sets and the doubts that were there."""
    visit, _ = sets_of(UNTRUE, TRUE, TRUE)
    again = after(visit.plan, State(), tuple(visit.events))
    assert again == visit.state
