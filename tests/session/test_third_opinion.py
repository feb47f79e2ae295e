"""Decisions with the general recogniser's opinion: both together, free text against answers, short stop phrases.

The scores are recorded ones; what they are on people's sound is measured by `tests/bench/hearing/visit.py`.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from opinions import chosen, heard, with_phones

from handsfree.events.inputs import GeneralHearing
from handsfree.lexicon.meaning import Answer, HazardSaid, Values
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.session.fusion import LIMIT_MARGIN, phones
from handsfree.session.general_judgement import STEP
from handsfree.session.margins import MARGINS


def test_where_our_ears_waver_the_other_settles_it() -> None:
    """Half a nat apart is a question by ours alone, and none with a clear word of the other."""
    alternatives = [("tight", "0", "-0.5"), ("leak found", "-0.5", "-9.0")]
    both = with_phones(heard("sample-line", "Tight.", "-0.4", *alternatives), "-0.1", "-0.2", "-20")
    assert (chosen("sample-line", both).meaning, chosen("sample-line", both).doubt) == (Answer("tight"), "")
    ours = both.model_copy(update={"general": None})
    ours = ours.model_copy(
        update={"alternatives": tuple(one.model_copy(update={"general": None}) for one in ours.alternatives)}
    )
    assert "leaking" in chosen("sample-line", ours).doubt


@pytest.mark.parametrize("far", [True, False])
def test_free_text_far_ahead_is_no_answer(far: bool) -> None:
    """Up to the margin the answer is asked about, beyond it was not said to us."""
    free = MARGINS.strange / MARGINS.free_text
    likely = -Decimal(1) - free - (STEP if far else 0)
    found = heard("sample-line", "He went home.", "-1", ("tight", "0", str(likely)), ("[unk]", "0", None))
    one = chosen("sample-line", found)
    assert (one.meaning, one.why) == ((None, "unknown speech") if far else (Answer("tight"), ""))
    assert far or one.doubt


def test_speech_that_is_ours_is_taken_though_our_ears_thought_it_unknown() -> None:
    """Unknown speech leads by ours alone; what the other writes of its own accord is the answer."""
    found = heard("sample-line", "Tight.", "-4", ("[unk]", "0", None), ("tight", "-0.1", "-0.2"))
    assert (chosen("sample-line", found).meaning, chosen("sample-line", found).doubt) == (Answer("tight"), "")


def test_where_the_two_differ_it_is_asked() -> None:
    """Ours is sure of one, the other finds the other likelier by more than a little."""
    found = heard("sample-line", "Leak found.", "-1", ("tight", "0", "-3"), ("leak found", "-9", "-1.5"))
    one = chosen("sample-line", found)
    assert (one.meaning, one.competing) == (Answer("tight"), (Answer("leaking"),))


def test_what_is_not_there_in_the_sound_does_not_speak_against_what_is() -> None:
    """In noise it writes by habit; where the phones of what it prefers are clearly not there, nobody is asked."""
    found = heard("sample-line", "Leak found.", "-1", ("tight", "0", "-3"), ("leak found", "-9", "-1.5"))
    there = with_phones(found, "-0.2", "-0.3", "-25")
    assert (chosen("sample-line", there).meaning, chosen("sample-line", there).doubt) == (Answer("tight"), "")
    unclear = with_phones(found, "-0.2", "-3", "-4")
    assert Answer("leaking") in chosen("sample-line", unclear).competing


def test_an_answer_whose_phones_are_far_behind_others_is_asked_about_and_one_of_none_was_not_said() -> None:
    """Something was said, and it was not quite this."""
    found = heard("sample-line", "Tight.", "-1", ("tight", "0", "-1"), ("[unk]", "-6", None))
    there, nearly, other = (with_phones(found, "-0.2", likely, None) for likely in ("-0.3", "-6", "-90"))
    assert not chosen("sample-line", there).doubt
    assert chosen("sample-line", nearly).doubt
    assert chosen("sample-line", other).doubt
    odd = heard("sample-line", "He went home.", "-1", ("tight", "0", "-9"), ("[unk]", "0", None))
    assert chosen("sample-line", with_phones(odd, "-0.2", "-90", None)).meaning is None


def test_a_longer_answer_may_be_stranger_but_not_one_with_values() -> None:
    """By chance hardly any talk sounds like ten phones in a row; a row that is a little strange may be another."""
    (_, none), (_, more) = MARGINS.long_answer
    strange = MARGINS.strange_at_once + (none + more) / 2
    found = heard("sample-line", "Leek found.", "-1", ("leak found", "0", "-1"), ("[unk]", str(strange), None))
    assert phones(Pronunciations(), ("leak", "found")) == 7  # half way
    assert (chosen("sample-line", found).meaning, chosen("sample-line", found).doubt) == (Answer("leaking"), "")
    short = heard("sample-line", "Tie.", "-1", ("tight", "0", "-1"), ("[unk]", str(strange), None))
    assert chosen("sample-line", short).doubt
    row = "nine point three four point six two four maximum"
    values = heard("found-maximum", "?", "-1", (row, "0", "-1"), ("[unk]", str(strange), None))
    assert chosen("found-maximum", values).doubt


def test_a_sentence_that_our_list_lacks_counts_as_likely_where_its_phones_fit_best() -> None:
    """Our own list ends after twenty, and says nothing of the rest."""
    found = heard("sample-line", "Tie.", "-1", ("leak found", "0", "-6"), ("tight", "-10", "-5"))
    assert chosen("sample-line", with_phones(found, "-0.1", "-40", "-0.2")).meaning == Answer("tight")
    assert chosen("sample-line", with_phones(found, "-0.1", "-0.3", "-40")).meaning == Answer("leaking")


def test_too_late_leaves_our_ears_alone() -> None:
    found = heard("sample-line", "", "0", ("tight", "0", None), ("leak found", "-9", None))
    late = found.model_copy(update={"general": GeneralHearing(member="test", late=True)})
    assert (chosen("sample-line", late).meaning, chosen("sample-line", late).doubt) == (Answer("tight"), "")


@pytest.mark.parametrize(
    ("score", "likely", "free", "stops"),
    [
        ("-3", "-2", "-1", True),  # it hears "Stop.", ours only lists it
        ("-10", "-1", "-0.5", True),  # ours does not list it, and it is sure
        ("-10", "-14", "-13", False),  # in loud noise it writes anything, and nothing is far behind that
        ("-3", "-12", "-1", False),  # neither
    ],
)
def test_a_short_stop_phrase_is_heard_by_either(score: str, likely: str, free: str, stops: bool) -> None:
    """The word alone, which has too few sounds for our ears to tell it from a snatch of talk."""
    found = heard("site", "?", free, ("[unk]", "0", None), ("stop", score, likely))
    assert isinstance(chosen("site", found).meaning, HazardSaid) is stops


@pytest.mark.parametrize(
    ("phones", "above", "stops"),
    [("-1.2", "30", True), ("-8", "30", True), ("-14", "30", False), ("-14", "15", True), ("-14", None, True)],
)
def test_by_the_text_alone_a_short_one_is_added_less_easily_in_quiet_where_its_phones_are_not_there(
    phones: str, above: str | None, stops: bool
) -> None:
    """A "stall" in a quiet room is written nearly as likely as "stop"; in noise phones cannot tell."""
    found = heard("site", "Stall.", "-2", ("[unk]", "0", None), ("stop", "-3.5", "-2.5"))
    found = with_phones(found, "-1", None, phones)
    found = found.model_copy(update={"above_noise_db": None if above is None else Decimal(above)})
    assert isinstance(chosen("site", found).meaning, HazardSaid) is stops


@pytest.mark.parametrize("likely", ["-8", "-14", None])
def test_a_short_one_that_ours_heard_is_never_denied(likely: str | None) -> None:
    """A false stop is undone by a word; one that is missed is not."""
    found = heard("site", "Snow.", "-1", ("stop", "0", likely), ("[unk]", "-6", None))
    assert isinstance(chosen("site", found).meaning, HazardSaid)


@pytest.mark.parametrize(
    ("further", "above", "asked_alone", "stops"),
    [
        ("0", "30", True, True),
        ("0.1", "30", True, False),  # "star", "start", "truck" in a quiet room
        ("9", "15", True, True),  # in noise our ears act
        ("9", None, True, True),  # noise that nobody measured counts as loud
        ("9", "30", False, True),  # as older records were decided
    ],
)
def test_a_short_one_in_quiet_is_denied_where_the_other_was_asked_about_it_alone(
    further: str, above: str | None, asked_alone: bool, stops: bool
) -> None:
    """Where it is further from the free text than `stop_against`."""
    likely = str(-1 + MARGINS.stop_against - Decimal(further))
    found = heard("site", "Star.", "-1", ("stop", "0", likely), ("[unk]", "-6", None))
    assert found.general is not None
    general = found.general.model_copy(update={"stop_alone": asked_alone})
    level = None if above is None else Decimal(above)
    found = found.model_copy(update={"general": general, "above_noise_db": level})
    meaning = chosen("site", found).meaning
    assert isinstance(meaning, HazardSaid) if stops else meaning is None


@pytest.mark.parametrize(
    ("further", "above", "stops"),
    [("0", "30", True), ("0.1", "30", False), ("9", "15", True), ("9", None, True)],
)
def test_a_short_one_in_quiet_is_denied_where_other_phones_were_said(
    further: str, above: str | None, stops: bool
) -> None:
    """Though its text is near: "stall", "stocked". In noise our ears act."""
    found = heard("site", "Stall.", "-1", ("stop", "0", "-5"), ("[unk]", "-6", None))
    found = with_phones(found, "-1", str(-1 - MARGINS.stop_phones - Decimal(further)), None)
    assert found.general is not None
    general = found.general.model_copy(update={"stop_alone": True})
    level = None if above is None else Decimal(above)
    found = found.model_copy(update={"general": general, "above_noise_db": level})
    assert isinstance(chosen("site", found).meaning, HazardSaid) is stops


@pytest.mark.parametrize(
    ("ours", "further", "above", "stops"),
    [
        ("-0.7", "0", "30", True),
        ("-0.7", "0.1", "30", False),  # "health" in a quiet room, nearly heard as "help help"
        ("0", "40", "30", True),  # it leads: nothing holds it back
        ("-0.7", "40", "15", True),  # in noise our ears act
        ("-0.7", "40", None, True),  # noise that nobody measured counts as loud
    ],
)
def test_a_long_one_that_something_else_leads_is_denied_in_quiet_where_its_phones_are_not_there(
    ours: str, further: str, above: str | None, stops: bool
) -> None:
    """A phrase of six phones and more is plainly there, or plainly not."""
    other = ("[unk]", "0" if ours != "0" else "-0.7", None)
    order = ("help help", ours, None)
    found = heard("site", "Image health.", "-1", *([order, other] if ours == "0" else [other, order]))
    likely = str(-1 - MARGINS.long_stop_phones - Decimal(further))
    found = with_phones(found, "-1", *([likely, None] if ours == "0" else [None, likely]))
    found = found.model_copy(update={"above_noise_db": None if above is None else Decimal(above)})
    assert isinstance(chosen("site", found).meaning, HazardSaid) is stops


def test_a_long_stop_phrase_is_never_denied() -> None:
    """Whatever the other wrote."""
    found = heard("site", "I smell roses.", "-1", ("emergency stop", "0", None), ("[unk]", "-4", None))
    assert chosen("site", found).meaning == HazardSaid("stop-work")
    assert found.general is not None
    alone = found.general.model_copy(update={"stop_alone": True})
    found = found.model_copy(update={"general": alone, "above_noise_db": Decimal(30)})
    assert chosen("site", found).meaning == HazardSaid("stop-work")


@pytest.mark.parametrize(
    ("score", "likely", "stops"),
    [
        ("-5", "-3", True),  # far behind by ours, and what the other writes is hardly likelier
        ("-5", "-9", False),
        ("-10", "-3", False),  # ours does not list it: in loud noise the other writes anything
    ],
)
def test_a_long_stop_phrase_far_behind_by_ours_is_added_by_the_other(score: str, likely: str, stops: bool) -> None:
    """In noise ours puts unknown speech first."""
    found = heard("site", "Emergency stop.", "-1", ("[unk]", "0", None), ("emergency stop", score, likely))
    assert isinstance(chosen("site", found).meaning, HazardSaid) is stops


def test_a_value_beyond_a_stop_limit_must_be_led_by_as_much_as_any_other() -> None:
    """O2 1.5 % lies 6.3 behind by its sound and further by the CO2 beside it: it is asked about all the same."""
    row = "nine point three four point six two four maximum"
    beyond = row.replace("nine point three four point six", "five point zero one point five")
    found = heard("found-maximum", "?", "-1", (row, "0", "-1"), (beyond, "0", "-1"))
    assert LIMIT_MARGIN < MARGINS.phone_weight * 9 < MARGINS.value_said
    (rival,) = chosen("found-maximum", with_phones(found, "-0.1", "-0.2", "-9.2")).competing
    assert isinstance(rival, Values)
    assert dict(rival.values)["o2"] == Decimal("1.5")
    assert chosen("found-maximum", with_phones(found, "-0.1", "-0.2", "-20")).competing == ()
