"""Choosing a meaning: alternatives and scores, doubt, the prior, what is no answer, damaged sound."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsed import at, hear, of_kind, shipped, utterance

from handsfree.events import decisions as ev
from handsfree.lexicon.meaning import Answer, HazardSaid, Values
from handsfree.session import fusion
from handsfree.session.fusion import LIMIT_MARGIN, STEP, UNKNOWN_MARGIN, Interpretation, choose, choose_typed
from handsfree.session.margins import LONG_STOPS, MARGINS
from handsfree.session.rehearsal import Rehearsal

ROW = "nine point three four point six one eight maximum"


def choice(visit: Rehearsal, *alternatives: tuple[str, str] | str, **other: object) -> Interpretation:
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    return choose(shipped(), visit.state, grammar, utterance(visit, *alternatives, **other))  # type: ignore[arg-type]


def called(found: Interpretation) -> dict[str, str]:
    assert isinstance(found.meaning, Values)
    return {quantity: str(value) for quantity, value in found.meaning.values}


def test_a_clear_best_alternative_is_taken_without_doubt() -> None:
    """One alternative, or one that leads by the margin."""
    assert choice(at("permission"), "told") == Interpretation(
        Answer("done"), onset=at("permission").state.now + 200, slight=True, words=("told",)
    )
    found = choice(at("sample-line"), ("tight", "0"), ("leak found", f"-{MARGINS.ours_value}"))
    assert (found.meaning, found.doubt, found.competing) == (Answer("tight"), "", ())


def test_a_near_rival_is_a_doubt() -> None:
    """Below the margin the winner stands, in doubt, with its competing hypothesis named."""
    found = choice(at("sample-line"), ("tight", "0"), ("leak found", f"-{MARGINS.ours_value - STEP}"))
    assert found.meaning == Answer("tight")
    assert found.competing == (Answer("leaking"),)
    assert "leaking" in found.doubt


def test_two_wordings_of_one_meaning_are_no_rivals() -> None:
    """ "Nine point three" and "nine decimal three" say the same."""
    found = choice(at("found-maximum"), (ROW, "0"), (ROW.replace("nine point", "nine decimal"), "-0.1"))
    assert found.doubt == ""


def test_the_fuel_weighs_improbable_pairs_down() -> None:
    """CO2 9.3 with O2 4.6 fits natural gas; 5.3 with 4.6 cannot: the better sound of it does not win by little."""
    wrong = ROW.replace("nine point three", "five point three")
    found = choice(at("found-maximum"), (wrong, "0"), (ROW, "-2.0"))
    assert called(found)["co2"] == "9.3"


def test_the_prior_never_weighs_carbon_monoxide() -> None:
    """However odd the value, sound alone decides CO, and the competing one is asked about."""
    odd = ROW.replace("one eight", "nine one eight")
    found = choice(at("found-maximum"), (odd, "0"), (ROW, "-1.0"))
    assert called(found)["co"] == "918"
    assert found.doubt


@given(st.decimals(STEP, LIMIT_MARGIN - STEP, places=3))
def test_no_alternative_beyond_a_stop_limit_is_let_go(lead: Decimal) -> None:
    """O2 1.5 % (below the 2 % stop) near by its sound stays a competing one, however improbable with the rest."""
    beyond = ROW.replace("four point six", "one point five")
    crowd = [(ROW.replace("one eight", f"one {digit}"), "-0.0005") for digit in ("six", "nine", "seven")]
    found = choice(at("found-maximum"), (ROW, "0"), *crowd, (beyond, f"-{lead}"))
    values = [dict(one.values) for one in (found.meaning, *found.competing) if isinstance(one, Values)]
    assert any(one["o2"] == Decimal("1.5") for one in values)
    assert found.doubt


def test_a_value_beyond_a_stop_limit_stays_even_with_an_improbable_neighbour() -> None:
    """CO2 5.0 with O2 1.5: the pair is far from likely, its sound is near, and 1.5 is below the 2 % stop."""
    beyond = "five point zero one point five one eight maximum"
    found = choice(at("found-maximum"), (ROW, "0"), (beyond, f"-{MARGINS.ours_value}"))
    assert [dict(one.values)["o2"] for one in found.competing if isinstance(one, Values)] == [Decimal("1.5")]
    harmless = "five point zero nine point five one eight maximum"
    assert choice(at("found-maximum"), (ROW, "0"), (harmless, f"-{MARGINS.ours_value}")).competing == ()


def test_a_rival_beyond_a_stop_limit_makes_its_quantity_doubtful() -> None:
    """CO 480 behind three harmless rows still has CO called a second time."""
    visit = at("found-maximum")
    rows = [(ROW, "0"), *((ROW.replace("nine point three", f"nine point {d}"), "-0.1") for d in ("two", "four"))]
    (read,) = of_kind(hear(visit, *rows, (ROW.replace("one eight", "four eight zero"), "-3.0")), ev.ReadBack)
    assert "co" in read.doubtful


def test_unknown_speech_far_ahead_is_no_answer() -> None:
    """It names what it may have been, and nothing is taken."""
    found = choice(at("sample-line"), ("[unk]", "0"), ("tight", f"-{MARGINS.ours_strange + STEP}"))
    assert (found.meaning, found.why) == (None, "unknown speech")
    assert found.competing == (Answer("tight"),)
    assert choice(at("sample-line"), "[unk]").why == "unknown speech"


def test_unknown_speech_just_ahead_makes_the_answer_doubtful() -> None:
    """A reading then stands by a clear read-back, never by silence; further ahead, nothing was said to us."""
    found = choice(at("found-maximum"), ("[unk]", "0"), (ROW, "-1.0"))
    assert found.doubt
    assert found.slight
    visit = at("found-maximum")
    (read,) = of_kind(hear(visit, ("[unk]", "0"), (ROW, "-1.0")), ev.ReadBack)
    assert read.doubtful == ()
    assert not of_kind(visit.wait(), ev.ReadingAccepted)
    visit = at("found-maximum")
    assert not of_kind(hear(visit, ("[unk]", "0"), (ROW, f"-{MARGINS.ours_strange + STEP}")), ev.ReadBack)


def test_talk_after_an_open_phrase_is_no_unknown_speech() -> None:
    """ "Not done because [unk]" is a whole sentence of the grammar."""
    found = choice(at("settings-as-found"), "not done because [unk]")
    assert found.doubt == ""


def test_lost_sound_gives_no_reading() -> None:
    """An overflow refuses everything but hazards."""
    found = choice(at("found-maximum"), ROW, overflow=True)
    assert (found.meaning, found.why) == (None, "sound was lost")
    assert choice(at("found-maximum"), "gas smell", overflow=True).meaning == HazardSaid("gas-smell")


def test_clipped_sound_and_low_confidence_are_doubts() -> None:
    """The reading is called again."""
    assert choice(at("found-maximum"), ROW, clipped=True).doubt == "the sound was clipped"
    assert choice(at("found-maximum"), ROW, confidence="0.590").doubt == "low confidence"
    assert choice(at("found-maximum"), ROW, confidence="0.600").doubt == ""


def test_nothing_heard_and_half_an_answer_are_no_answers() -> None:
    """Both are told apart."""
    assert choice(at("found-maximum")).why == "nothing heard"
    assert choice(at("found-maximum"), "nine point").why == "not a whole answer"


@pytest.mark.parametrize(
    ("behind", "acts"), [(MARGINS.ours_stop, True), (MARGINS.ours_stop + Decimal("0.001"), False)]
)
def test_a_hazard_acts_within_its_margin(behind: Decimal, acts: bool) -> None:
    """In any alternative that near to the best."""
    found = choice(at("permission"), ("told", "0"), ("[unk]", "-0.5"), ("gas smell", f"-{behind}"))
    assert (found.meaning == HazardSaid("gas-smell")) == acts


(NOISY, NOISY_LEAD), (QUIET, QUIET_LEAD) = MARGINS.ours_short_stop
BETWEEN = (NOISY + QUIET) / 2


@pytest.mark.parametrize(
    ("phrase", "hazard", "lead"),
    [
        ("smell gas", "gas-smell", LONG_STOPS["smell gas"]),
        ("stop stop", "stop-work", LONG_STOPS["stop stop"]),
        ("there's smoke", "fire", -MARGINS.ours_stop),
    ],
)
def test_a_longer_hazard_wants_a_lead_only_in_quiet(phrase: str, hazard: str, lead: Decimal) -> None:
    """Words that are heard as one hardly lead there, true ones do; in noise, or unmeasured, nothing changes."""
    for above, wanted in ((None, -MARGINS.ours_stop), (NOISY, -MARGINS.ours_stop), (QUIET, lead)):
        for least, acts in ((wanted, True), (wanted - STEP, False)):
            heard = [(phrase, str(min(least, Decimal(0)))), ("[unk]", str(min(-least, Decimal(0))))]
            found = choice(
                at("permission"), *sorted(heard, key=lambda one: -Decimal(one[1])), above_noise_db=above
            )
            assert (found.meaning == HazardSaid(hazard)) == acts, (above, least)


def test_a_longer_hazard_wants_no_more_than_a_short_one() -> None:
    """Its sounds are more, so that as much is always enough."""
    assert all(0 <= lead <= QUIET_LEAD for lead in LONG_STOPS.values())


@pytest.mark.parametrize(
    ("above", "wanted"),
    [
        (None, NOISY_LEAD),
        (Decimal(-5), NOISY_LEAD),
        (NOISY, NOISY_LEAD),
        (BETWEEN, (NOISY_LEAD + QUIET_LEAD) / 2),
        (QUIET, QUIET_LEAD),
        (QUIET + 30, QUIET_LEAD),
    ],
)
def test_a_short_hazard_must_lead_by_the_margin_of_the_noise_around_it(
    above: Decimal | None, wanted: Decimal
) -> None:
    """Five phones are easily heard in other talk; other words for the same hazard do not stand against it.

    The quieter it is, the further a true one leads. Where nobody measured the noise it counts as loud.
    """
    for behind, acts in ((wanted, True), (wanted - Decimal("0.001"), False)):
        heard = ("feel ill", "0"), ("i feel ill", "-0.2"), ("[unk]", f"-{behind}")
        found = choice(at("permission"), *heard, above_noise_db=above)
        assert found.meaning == HazardSaid("feel-ill")  # the longer words call it too
        found = choice(at("permission"), heard[0], heard[2], above_noise_db=above)
        assert (found.meaning == HazardSaid("feel-ill")) == acts


def test_a_short_hazard_is_never_wanted_surer_than_the_noise_allows() -> None:
    """What is wanted grows with the quiet, and stays well below what true stops lead by there: 5.8 and more."""
    assert NOISY < QUIET
    assert Decimal(1) <= NOISY_LEAD <= QUIET_LEAD <= Decimal(4)


def test_the_onset_is_that_of_the_first_word() -> None:
    """In ms of the visit."""
    visit = at("permission")
    heard = utterance(visit, "told")
    assert choice(visit, "told").onset == heard.started


def test_typed_digits_read_as_they_are_said() -> None:
    """ "9.3, 4.6, 18 maximum" is the row; -0.05 has its minus."""
    visit = at("found-maximum")
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    assert called(choose_typed(shipped(), grammar, "9.3, 4.6, 18 maximum")) == {
        "co2": "9.3",
        "o2": "4.6",
        "co": "18",
    }
    draught = at("found-maximum-draught")
    grammar = shipped().grammar(draught.state.question, draught.state.gate)
    found = choose_typed(shipped(), grammar, "-0.05 0.12")
    assert called(found) == {"offset_pressure": "-0.05", "vent_pressure": "0.12"}


def test_typed_words_with_two_meanings_are_in_doubt() -> None:
    """ "C o two eight"."""
    visit = at("found-maximum")
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    assert choose_typed(shipped(), grammar, "c o two eight").doubt == "it has two meanings"


# The edges of the margins, and what else decides a doubt


def test_beyond_a_stop_limit_and_far_behind_is_let_go() -> None:
    """O2 1.5 % a whole margin behind by its sound competes no more, and much further behind neither."""
    beyond = ROW.replace("four point six", "one point five")
    for behind in (LIMIT_MARGIN, 2 * LIMIT_MARGIN):
        assert choice(at("found-maximum"), (ROW, "0"), (beyond, f"-{behind}")).competing == ()


def test_a_stop_limit_counts_wherever_it_stands_in_the_row() -> None:
    """O2 1.5 % stays near although the display showed no number for CO after it."""
    beyond = "nine point three one point five dashes maximum"
    (rival,) = choice(at("found-maximum"), (ROW, "0"), (beyond, "-3.5")).competing
    assert isinstance(rival, Values)
    assert dict(rival.values) == {"co2": Decimal("9.3"), "o2": Decimal("1.5"), "co": "no reading"}


def test_over_range_is_beyond_a_stop_limit() -> None:
    """A display over its range stays near by its sound, as a number beyond the limit does; dashes do not."""
    over, dashes = (ROW.replace("one eight", words) for words in ("over range", "dashes"))
    behind = f"-{(MARGINS.ours_value + LIMIT_MARGIN) / 2}"
    assert len(choice(at("found-maximum"), (ROW, "0"), (over, behind)).competing) == 1
    assert choice(at("found-maximum"), (ROW, "0"), (dashes, behind)).competing == ()


def test_unknown_speech_ahead_by_just_the_margin_leaves_the_answer() -> None:
    """It stands, in doubt."""
    found = choice(at("sample-line"), ("[unk]", "0"), ("tight", f"-{MARGINS.ours_strange}"))
    assert (found.meaning, found.doubt) == (Answer("tight"), "other speech is as likely")
    assert found.slight == (MARGINS.ours_strange < UNKNOWN_MARGIN)


def test_unknown_speech_that_leads_by_less_than_its_margin_is_a_slight_doubt() -> None:
    """What it leads by more was not said, so that no answer is left between the two."""
    nearly = min(MARGINS.ours_strange, UNKNOWN_MARGIN - STEP)
    assert choice(at("sample-line"), ("[unk]", "0"), ("tight", f"-{nearly}")).slight
    assert choice(at("sample-line"), ("[unk]", "0"), ("tight", f"-{MARGINS.ours_strange + STEP}")).meaning is None


def test_an_unfinished_answer_ahead_is_no_other_speech() -> None:
    """All its words are known: the whole answer behind it is what was said."""
    found = choice(at("found-maximum"), ("nine point", "0"), (ROW, "-1.0"))
    assert called(found)["co2"] == "9.3"
    assert found.doubt == ""


def test_the_doubt_names_the_nearest_rival() -> None:
    """And all that are near stay known, the nearest first."""
    rows = [
        (ROW.replace("one eight", f"one {digit}"), f"-{behind}") for digit, behind in (("six", 1), ("nine", 2))
    ]
    found = choice(at("found-maximum"), (ROW, "0"), *rows)
    assert [dict(one.values)["co"] for one in found.competing if isinstance(one, Values)] == [
        Decimal(16),
        Decimal(19),
    ]
    assert "co 16" in found.doubt


@pytest.mark.parametrize(("behind", "competing"), [(MARGINS.ours_value, 0), (MARGINS.ours_value - STEP, 1)])
def test_a_command_and_a_value_are_weighed_by_their_sound_alone(behind: Decimal, competing: int) -> None:
    """Neither has a prior where the value is CO, in whatever order they come."""
    visit = at("ambient-entry")
    assert len(choice(visit, ("repeat", "0"), ("zero", f"-{behind}")).competing) == competing
    assert len(choice(visit, ("zero", "0"), ("repeat", f"-{behind}")).competing) == competing


def test_a_clipped_sound_is_never_a_slight_doubt() -> None:
    """What was too loud may have been anything."""
    assert not choice(at("found-maximum"), ROW, clipped=True).slight
    assert choice(at("found-maximum"), ROW, confidence="0.590").slight


def test_what_is_no_answer_has_no_onset_of_its_own_and_no_slight_doubt() -> None:
    """Nothing heard is at no time; half an answer is where it was heard."""
    assert (choice(at("found-maximum")).onset, choice(at("found-maximum")).slight) == (0, False)
    half = choice(at("found-maximum"), "nine point")
    assert (half.onset, half.slight) == (at("found-maximum").state.now + 200, False)


def test_a_hazard_not_clear_enough_leaves_the_answer_beside_it() -> None:
    """Behind by more than its margin it is neither obeyed nor a competing one."""
    found = choice(at("permission"), ("told", "0"), ("gas smell", f"-{MARGINS.ours_stop + STEP}"))
    assert (found.meaning, found.competing) == (Answer("done"), ())


def test_an_ordinary_value_after_one_beyond_a_stop_limit_does_not_hide_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where a trade's limits each stand on one quantity, and the rest of the set takes no part."""
    stops = type(shipped().trade.stops)
    monkeypatch.setattr(stops, "opens", lambda *given: given[-1].quantity == "flue_temperature")
    row = Values((("flue_temperature", Decimal(95)), ("ambient_co", Decimal(2))))
    assert fusion._prior(shipped(), at("found-maximum").state, row)[1]
    assert not fusion._prior(shipped(), at("found-maximum").state, Values(row.values[1:]))[1]
