"""How two opinions of one utterance are weighed: their edges, second calls, and stop phrases that keys write.

The margins of the edges are this file's own, so that another fit of `margins.yaml` moves none of them.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from opinions import chosen, heard, with_opinion
from rehearsed import at, hear, say, shipped, utterance

from handsfree.events.replacing import replace
from handsfree.events.state import Pending
from handsfree.lexicon.meaning import TOLD, Answer, HazardSaid
from handsfree.session import fusion, general_judgement
from handsfree.session.fusion import Interpretation, choose, choose_typed, hazard_called, hazard_typed
from handsfree.session.margins import MARGINS
from handsfree.session.rehearsal import Rehearsal

ROW = "nine point three four point six two four maximum"
STRANGE_AT_ONCE, FREE_AHEAD = Decimal("0.5"), Decimal(3)


@pytest.fixture
def _own_margins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Free text counts as much as our own score, and the edges stand at round numbers."""
    own = {
        "ours_value": Decimal("3.25"),
        "ours_strange": Decimal(5),
        "value": Decimal(4),
        "value_said": Decimal(4),
        "unlisted": Decimal(-3),
        "free_text": Decimal(1),
        "strange_at_once": STRANGE_AT_ONCE,
        "strange": Decimal(9),
        "free_ahead": FREE_AHEAD,
        "disagree": Decimal(1),
        "weight": Decimal(1),
    }
    margins = MARGINS.model_copy(update=own)
    monkeypatch.setattr(fusion, "MARGINS", margins)
    monkeypatch.setattr(general_judgement, "MARGINS", margins)
    for judgement in ("own_scores", "sound_scores", "strangeness", "lead_wanted"):
        monkeypatch.setattr(getattr(general_judgement, judgement), "__defaults__", (margins,))


def judged(*, strange: str, ahead: str = "0", clipped: bool = False) -> Interpretation:
    """Return "tight" as it is chosen where it is so strange in all, of which the free text gives `ahead`."""
    unknown = Decimal(strange) - Decimal(ahead)
    found = heard("sample-line", "?", ahead, ("tight", "0", "0"), ("[unk]", f"{unknown:f}", None))
    one = chosen("sample-line", found.model_copy(update={"clipped": clipped}))
    assert one.meaning == Answer("tight")
    return one


# Other speech


@pytest.mark.usefixtures("_own_margins")
@pytest.mark.parametrize(
    ("strange", "ahead", "doubted"),
    [
        ("0.5", "0", False),
        ("0.501", "0", True),
        ("1.4", "0", True),
        ("-9", "3", False),
        ("-9", "3.001", True),  # the free text alone leads by too much
        ("1", "-3", True),  # our own ears alone heard other speech
    ],
)
def test_either_of_two_signs_of_other_speech_is_a_doubt(strange: str, ahead: str, *, doubted: bool) -> None:
    """Both together are strange, or the free text leads: what lies on the edge is taken."""
    assert judged(strange=strange, ahead=ahead).doubt == ("other speech is as likely" if doubted else "")


@pytest.mark.usefixtures("_own_margins")
def test_a_doubt_is_slight_where_other_speech_leads_by_little() -> None:
    """Below 2 beyond what is taken at once, with nothing near it and no sound cut off."""
    assert judged(strange="2.499").slight
    assert not judged(strange="2.5").slight
    assert not judged(strange="2.499", clipped=True).slight
    assert not judged(strange="-5", clipped=True).slight
    rivals = heard("sample-line", "?", "0", ("tight", "0", "0"), ("leak found", "-1", "0"), ("[unk]", "-5", None))
    assert not chosen("sample-line", rivals).slight


@pytest.mark.usefixtures("_own_margins")
def test_by_our_ears_alone_a_doubt_is_slight_below_the_same_lead() -> None:
    for lead, slight in (("1.999", True), ("2", False), ("4.9", False)):
        visit = at("sample-line")
        grammar = shipped().grammar(visit.state.question, visit.state.gate)
        one = choose(shipped(), visit.state, grammar, utterance(visit, ("[unk]", "0"), ("tight", f"-{lead}")))
        assert (one.meaning, one.slight) == (Answer("tight"), slight)


def test_what_is_no_answer_is_told_by_what_was_likeliest() -> None:
    """Other speech, or half an answer."""
    visit = at("found-maximum")
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    for best, second, why in (
        ("[unk]", "nine point", "unknown speech"),
        ("nine point", "[unk]", "not a whole answer"),
    ):
        one = choose(shipped(), visit.state, grammar, utterance(visit, (best, "0"), (second, "-1.0")))
        assert (one.meaning, one.why) == (None, why)


# Rivals


def test_another_wording_that_the_other_prefers_is_no_rival() -> None:
    """ "Nine decimal three" says what "nine point three" says."""
    same = ROW.replace("nine point", "nine decimal")
    one = chosen("found-maximum", heard("found-maximum", "?", "-1", (ROW, "0", "-3"), (same, "-9", "-1")))
    assert (one.doubt, one.competing) == ("", ())


def test_the_nearest_of_two_rivals_is_named() -> None:
    rivals = [
        (ROW.replace("two four", f"two {digit}"), f"-{behind}", "-1")
        for digit, behind in (("six", 1), ("nine", 2))
    ]
    one = chosen("found-maximum", heard("found-maximum", "?", "-1", (ROW, "0", "-1"), *rivals))
    assert len(one.competing) == 2
    assert "co 26" in one.doubt


@pytest.mark.usefixtures("_own_margins")
def test_what_the_free_text_says_counts_though_our_ears_do_not_list_it() -> None:
    """As if our own ears had it 3 behind; anything else that they do not list stays 10 behind."""
    other = ROW.replace("two four", "two nine")
    for likelihood, near in (("-1", True), ("-1.05", True), ("-1.051", False)):
        found = heard("found-maximum", "?", "-1", (ROW, "0", "-1"), (other, "-10", likelihood))
        assert bool(chosen("found-maximum", found).competing) == near


@pytest.mark.parametrize(("less", "ahead", "near"), [("0", "0", False), ("0", "0.1", True), ("0.1", "0", True)])
def test_what_the_free_text_says_needs_a_smaller_lead(less: str, ahead: str, *, near: bool) -> None:
    """By the margins that ship: `value_said` where the free text says just that, `value` elsewhere."""
    other, lead = ROW.replace("two four", "two nine"), MARGINS.value_said - Decimal(less)
    found = heard("found-maximum", "?", ahead, (ROW, "0", "0"), (other, f"-{lead}", "0"))
    assert bool(chosen("found-maximum", found).competing) == near


# A second call


def called_again() -> Rehearsal:
    """Return the visit asking for CO a second time: 24 was called, with 26 near it."""
    visit = at("found-maximum")
    hear(visit, (ROW, "0"), (ROW.replace("two four", "two six"), "-1.0"))
    visit.say("confirmed")
    return visit


@pytest.mark.usefixtures("_own_margins")
@pytest.mark.parametrize(
    ("first", "other", "near"), [("two four", "two nine", False), ("two nine", "two four", True)]
)
def test_a_second_call_that_both_opinions_hear_needs_a_smaller_lead(first: str, other: str, *, near: bool) -> None:
    """24 once more leads by 3 and is taken; 29 is new, and wants the whole lead of 4."""
    visit = called_again()
    alternatives = ((first, "0", "-1"), (other, "-3", "-1"))
    ours = utterance(visit, *((words, score) for words, score, _ in alternatives))
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    one = choose(shipped(), visit.state, grammar, with_opinion(ours, first, "-1", *alternatives))
    assert bool(one.competing) == near


def pascals_again() -> Rehearsal:
    """Return the visit asking for the standing pressure digit by digit, after 2015 pascals were called."""
    visit = at("standing-pressure")
    say(visit, "two thousand and fifteen pascals", "confirmed")
    assert visit.state.question.kind == "digits"
    return visit


def rivals_of(visit: Rehearsal, words: str, other: str) -> int:
    """Return how many values stand too near the first, which leads by more than a second call needs."""
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    return len(choose(shipped(), visit.state, grammar, utterance(visit, (words, "0"), (other, "-2.5"))).competing)


def test_a_second_call_in_the_unit_of_the_first_needs_a_smaller_lead() -> None:
    """2015 pascals again are the same, and 2016 another value."""
    assert rivals_of(pascals_again(), "two zero one five pascals", "two zero one six pascals") == 0
    assert rivals_of(pascals_again(), "two zero one six pascals", "two zero one five pascals") == 1


def test_the_same_number_in_another_unit_is_a_call_of_its_own() -> None:
    """20.1 millibar, where the first was called in pascals; where it was not, the number is the same."""
    for called_unit, near in (("Pa", 1), ("", 0)):
        visit = pascals_again()
        first = visit.state.pending.values["standing_pressure"]
        shown = first.model_copy(update={"value": "20.1", "resolution": "0.1", "called_unit": called_unit})
        visit.state = replace(visit.state, pending=Pending({"standing_pressure": shown}))
        assert rivals_of(visit, "two zero point one", "two zero point two") == near


def test_nothing_is_confirmed_by_a_second_call_without_a_first() -> None:
    """In a unit or without one."""
    visit = pascals_again()
    visit.state = replace(visit.state, pending=Pending())
    assert rivals_of(visit, "two zero one five pascals", "two zero one six pascals") == 1
    assert rivals_of(visit, "two zero point one", "two zero point two") == 1


# Stop phrases


@pytest.mark.parametrize(
    ("score", "likeness", "acts"), [("-8", "0", False), ("-7.999", "-3", True), ("-7.999", "-3.001", False)]
)
def test_a_long_stop_phrase_is_added_from_its_edges_on(
    score: str, likeness: str, monkeypatch: pytest.MonkeyPatch, *, acts: bool
) -> None:
    """Our ears list it, and it comes as close to the free text as it must."""
    own = {"listed": Decimal(-8), "stop_long": Decimal(-3)}
    monkeypatch.setattr(fusion, "MARGINS", MARGINS.model_copy(update=own))
    alternatives = [(("[unk]",), Decimal(0)), (("emergency", "stop"), Decimal(score))]
    found = hazard_called(shipped().catalogue, shipped().pronunciations, alternatives, (None, Decimal(likeness)))
    assert found == (("stop-work", ("emergency", "stop")) if acts else None)


def test_a_typed_stop_phrase_is_one_however_it_is_written() -> None:
    """In capitals, as an abbreviation, with marks between; and the cries that only keys can tell apart."""
    catalogue = shipped().catalogue
    for text, hazard in (
        ("GAS, SMELL!", "gas-smell"),
        ("CO alarm", "co-alarm"),
        ("LOCK OUT", "burner-out"),
        ("help!", "stop-work"),
        ("tight", None),
    ):
        assert hazard_typed(catalogue, text) == hazard, text


def test_a_trade_may_have_an_abbreviation_as_a_typed_cry() -> None:
    """Its letters are taken one by one, as the ear takes them."""
    catalogue = shipped().catalogue
    cry = catalogue.hazards["co-alarm"].model_copy(update={"typed": ("c o",)})
    with_cry = catalogue.model_copy(update={"hazards": {**catalogue.hazards, "co-alarm": cry}})
    assert hazard_typed(with_cry, "CO!") == "co-alarm"
    assert hazard_typed(catalogue, "CO!") is None


def test_a_stop_phrase_alone_stops_even_where_a_hazard_may_be_told_of() -> None:
    """As the cause of a stop is asked for: in a sentence it is what was found, alone it is a cry."""
    visit = at("site")
    say(visit, "stop work", "put right")
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    assert choose_typed(shipped(), grammar, "a gas smell that was paint").meaning == Answer(TOLD)
    for cry, name in (("gas smell", "gas-smell"), ("stop", "stop-work"), ("help", "stop-work")):
        assert choose_typed(shipped(), grammar, cry).meaning == HazardSaid(name)
