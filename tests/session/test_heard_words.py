"""What single words of an utterance decide: when it began, how sure it is, and what a second call may do."""

from __future__ import annotations

from decimal import Decimal

from rehearsed import at, hear, of_kind, shipped, utterance

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.lexicon.meaning import Command, Values
from handsfree.session.fusion import LEAST_CONFIDENCE, SECOND_MARGIN, STEP, Interpretation, choose
from handsfree.session.margins import MARGINS
from handsfree.session.rehearsal import Rehearsal

ROW = "nine point three four point six two four maximum"
OTHER_ROW = ROW.replace("two four", "two six")
BETWEEN = f"-{(MARGINS.ours_value + SECOND_MARGIN) / 2}"
"""A score behind the best that is clear for a second call and not for a first."""


def later(heard: inp.Heard, *, first_word_ms: int) -> inp.Heard:
    """Return an utterance whose words begin so long after its sound began."""
    moved = tuple(
        one.model_copy(
            update={
                "words": tuple(
                    word.model_copy(
                        update={
                            "start_ms": word.start_ms + first_word_ms,
                            "end_ms": word.end_ms + first_word_ms,
                        }
                    )
                    for word in one.words
                )
            }
        )
        for one in heard.alternatives
    )
    return heard.model_copy(update={"alternatives": moved})


def sure(heard: inp.Heard, *confidences: str) -> inp.Heard:
    """Return an utterance with the confidence of each word of its best alternative."""
    best = heard.alternatives[0]
    words = tuple(
        word.model_copy(update={"confidence": Decimal(confidence)})
        for word, confidence in zip(best.words, confidences, strict=True)
    )
    return heard.model_copy(
        update={"alternatives": (best.model_copy(update={"words": words}), *heard.alternatives[1:])}
    )


def choice(visit: Rehearsal, heard: inp.Heard) -> Interpretation:
    grammar = shipped().grammar(visit.state.question, visit.state.gate)
    return choose(shipped(), visit.state, grammar, heard)


def called_again() -> Rehearsal:
    """Return the visit asking for CO a second time: 24 was called, with 26 near it."""
    visit = at("found-maximum")
    hear(visit, (ROW, "0"), (OTHER_ROW, "-1.0"))
    visit.say("confirmed")
    return visit


# The onset


def test_a_word_begins_where_it_is_in_the_sound() -> None:
    """The onset is that of the sound plus the silence before its first word."""
    visit = at("permission")
    heard = later(utterance(visit, "told"), first_word_ms=340)
    assert choice(visit, heard).onset == heard.started + 340


def test_the_first_word_of_the_best_alternative_is_what_begins() -> None:
    """Not its last word, and not where another way of hearing it puts the first."""
    visit = at("found-maximum")
    heard = later(utterance(visit, (ROW, "0"), (OTHER_ROW, "-1.0")), first_word_ms=340)
    rest = later(heard, first_word_ms=500).alternatives[1:]
    assert choice(visit, heard.model_copy(update={"alternatives": (heard.alternatives[0], *rest)})).onset == (
        heard.started + 340
    )


def test_an_utterance_without_words_begins_with_its_sound() -> None:
    """There is no word to time it by."""
    visit = at("permission")
    heard = utterance(visit, "")
    assert choice(visit, heard).onset == heard.started


def test_the_meter_is_timed_from_word_to_word() -> None:
    """Sound of 70.0 s between two utterances, the words 0.7 s and 0.2 s into them: 69.5 s at the meter."""
    visit = at("input-found/time-the-meter", "mark")
    first = later(utterance(visit, "mark"), first_word_ms=700)
    visit.take(first)
    second = later(utterance(visit, "mark", after_ms=first.started + 71_000 - visit.state.now), first_word_ms=200)
    assert second.started - first.started == 70_000
    (taken,) = of_kind(visit.take(second), ev.ReadingAccepted)
    assert (taken.reading.quantity, taken.reading.value, taken.reading.unit) == ("meter_time", "69.5", "s")


# Confidence


def test_one_word_of_low_confidence_makes_its_utterance_doubtful() -> None:
    """The least sure word counts, wherever it stands; all at the least confidence are enough."""
    visit = at("found-maximum")
    words = ROW.split()
    for place in range(len(words)):
        confidences = ["1.000"] * len(words)
        confidences[place] = str(LEAST_CONFIDENCE - STEP)
        assert choice(visit, sure(utterance(visit, ROW), *confidences)).doubt == "low confidence"
    enough = sure(utterance(visit, ROW), *[str(LEAST_CONFIDENCE)] * len(words))
    assert choice(visit, enough).doubt == ""


# A second call


def test_a_second_call_of_the_same_value_needs_a_smaller_lead() -> None:
    """It is an independent hearing: 24 again is accepted although another value is as near as this."""
    visit = called_again()
    assert visit.state.question.kind == "once-more"
    heard = utterance(visit, ("two four", "0"), ("two six", BETWEEN))
    assert (choice(visit, heard).doubt, choice(visit, heard).competing) == ("", ())
    (taken,) = of_kind(visit.take(heard), ev.ReadingAccepted)
    assert (taken.reading.value, taken.how) == ("24", "twice")


def test_a_second_call_of_another_value_needs_the_whole_lead() -> None:
    """It confirms nothing: 34 where 24 was called is in doubt at this distance, and asked digit by digit."""
    visit = called_again()
    heard = utterance(visit, ("three four", "0"), ("three six", BETWEEN))
    assert choice(visit, heard).competing == (Values((("co", Decimal(36)),)),)
    assert not of_kind(visit.take(heard), ev.ReadingAccepted)
    assert visit.state.question.kind == "digits"


def test_the_same_value_digit_by_digit_needs_a_smaller_lead_too() -> None:
    """Digit by digit is a second call as well."""
    visit = called_again()
    hear(visit, ("three four", "0"), ("three six", BETWEEN))
    assert visit.state.question.kind == "digits"
    assert choice(visit, utterance(visit, ("two four", "0"), ("two six", BETWEEN))).doubt == ""
    assert choice(visit, utterance(visit, ("two six", "0"), ("two four", BETWEEN))).doubt != ""


def test_the_row_called_again_over_its_read_back_needs_the_whole_lead() -> None:
    """Nobody asked for a second call, so nobody was listening for one."""
    visit = at("found-maximum")
    assert choice(visit, utterance(visit, (ROW, "0"), (OTHER_ROW, BETWEEN))).doubt != ""
    hear(visit, ROW)
    assert visit.state.question.kind == "read-back"
    assert visit.state.pending.values["co2"].value == "9.3"
    again, other = (row.removesuffix(" maximum") for row in (ROW, OTHER_ROW))
    assert choice(visit, utterance(visit, (again, "0"), (other, BETWEEN))).doubt != ""


def test_a_pair_that_was_refused_is_called_for_the_first_time_again() -> None:
    """What could not be true is not kept, so there is nothing to confirm."""
    visit = at("found-maximum")
    hear(visit, ROW.replace("nine point three", "six point three"))
    assert visit.state.question.kind == "tied-values"
    pair = utterance(visit, ("nine point three four point six", "0"), ("nine point two four point six", BETWEEN))
    assert choice(visit, pair).doubt != ""


def test_a_setting_asked_again_because_it_was_no_number_is_a_first_call() -> None:
    """ "Dashes" is no setting and is not kept: the number called then has nothing to confirm."""
    visit = at("reset-as-found")
    visit.say("dashes")
    assert (visit.state.question.kind, visit.state.pending.values) == ("once-more", {})
    assert choice(visit, utterance(visit, ("one point five", "0"), ("one point four", BETWEEN))).doubt != ""


def test_words_that_are_no_value_may_come_instead_of_a_second_call() -> None:
    """They confirm no value, and the whole lead is asked of them."""
    visit = called_again()
    found = choice(visit, utterance(visit, ("repeat", "0"), ("two four", BETWEEN)))
    assert found.meaning == Command("repeat")
    assert found.competing == (Values((("co", Decimal(24)),)),)
