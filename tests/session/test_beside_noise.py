"""Decisions at a closed question, where the general recogniser was asked about noise alone, too.

The figures are as recorded ones are: in loud noise it expects a common phrase anyway, and a rare one never.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from opinions import chosen, heard, with_habits, with_phones

from handsfree.lexicon.meaning import Answer, HazardSaid
from handsfree.session.margins import MARGINS

GATE = "sample-line"


def test_what_noise_alone_makes_likely_leads_no_more_than_what_the_sound_does() -> None:
    """By its likelihood "tight" leads by 8; of noise alone it would say that, and "leak found" never."""
    found = heard(GATE, "Click thou.", "-6", ("tight", "0", "-12"), ("leak found", "0", "-20"))
    beside = with_habits(found, "-30", "-10", "-45")
    assert (chosen(GATE, beside).meaning, chosen(GATE, beside).doubt) == (Answer("leaking"), "")
    assert chosen(GATE, found).meaning == Answer("tight"), "as a record of before is decided"


def test_habits_alone_change_nothing_where_the_free_text_was_not_asked_about() -> None:
    """An older record holds habits of a few sentences only; what it lacks would count as out of reach."""
    found = heard(GATE, "Click thou.", "-6", ("tight", "0", "-12"), ("leak found", "0", "-20"))
    assert chosen(GATE, with_habits(found, None, "-10", "-45")) == chosen(GATE, found)


def test_what_the_sound_makes_no_likelier_than_noise_was_not_said() -> None:
    """The free text is no measure: in noise it writes anything, and leads a rare phrase by much."""
    behind = str(-MARGINS.closed_strange - 1)
    said = heard(GATE, "Fight.", "-3", ("[unk]", "0", None), ("leak found", behind, "-20"))
    assert chosen(GATE, with_habits(said, "-30", None, "-45")).meaning == Answer("leaking")
    nothing = chosen(GATE, with_habits(said, "-30", None, "-20"))
    assert (nothing.meaning, nothing.why) == (None, "unknown speech")


def test_a_rare_phrase_that_the_sound_makes_likely_is_taken_whatever_the_free_text_leads_by() -> None:
    """Twenty nats behind its free text, and thirty before noise alone: without that it was not said to us."""
    said = heard(GATE, "Lee found.", "-2", ("leak found", "0", "-22"), ("[unk]", "-1", None))
    assert chosen(GATE, said).doubt or chosen(GATE, said).meaning is None
    beside = chosen(GATE, with_habits(said, "-25", "-52", None))
    assert (beside.meaning, beside.doubt) == (Answer("leaking"), "")


def test_where_the_two_differ_beyond_noise_it_is_asked() -> None:
    """Ours is sure of one; the other finds the sound makes the other likelier."""
    found = heard(GATE, "?", "-8", ("tight", "0", "-12"), ("leak found", "-9", "-20"))
    one = chosen(GATE, with_habits(found, "-30", "-30", "-40"))
    assert one.meaning == Answer("tight")
    assert Decimal(20) - Decimal(18) >= MARGINS.disagree
    assert one.competing == (Answer("leaking"),)


@pytest.mark.parametrize(
    ("habit", "stops"),
    [("-50", True), ("-22", False)],  # the sound makes it likely, or no more than noise does
)
def test_a_long_stop_phrase_that_both_together_hear_acts_in_noise(habit: str, stops: bool) -> None:
    """Ours put unknown speech first, and what was written is something else: "i'm burnt" by 5 dB over noise."""
    said = heard(
        GATE, "I'm burned out.", "-5", ("[unk]", "0", None), ("i'm burnt", "-2", "-21"), ("tight", "-3", "-30")
    )
    said = said.model_copy(update={"above_noise_db": Decimal(4)})
    there = with_phones(with_habits(said, "-30", None, habit, "-31"), "-4", None, "-9", "-40")
    assert (chosen(GATE, there).meaning == HazardSaid("burn")) is stops
    assert not isinstance(chosen(GATE, said).meaning, HazardSaid), (
        "sixteen behind its free text, and no more known"
    )


def test_a_stop_phrase_that_an_answer_leads_by_both_does_not_act_so() -> None:
    """It must lead everything."""
    said = heard(GATE, "?", "-8", ("[unk]", "0", None), ("i'm burnt", "-2", "-21"), ("leak found", "-2", "-12"))
    there = with_phones(with_habits(said, "-30", None, "-40", "-45"), "-4", None, "-12", "-9")
    assert chosen(GATE, there).meaning == Answer("leaking")
