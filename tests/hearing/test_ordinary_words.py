"""A long stop phrase is denied where an ordinary word fits the sound better; nothing else is."""

import sys
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from own_voice import rendered
from scripted_recogniser import ScriptedRecogniser, alternative

from handsfree.hearing.ordinary_words import OrdinaryWords
from handsfree.hearing.recogniser import Recogniser
from handsfree.lexicon.automaton import phrases
from handsfree.lexicon.ordinary import english_words
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.questions.grammar import stop_grammar
from handsfree.shipped import model_folder

STOP = phrases(["stop", "stop work", "help me"]).automaton()
SOUND = np.zeros(1600, np.int16)


MARGIN = Decimal(1)


class HeardTwiceMore(ScriptedRecogniser):
    """Finds an ordinary word likelier than the stop phrases, by so much."""

    ordinary = ("bed", "stopped", "top")

    def __init__(self, ahead):
        super().__init__()
        self.likelihoods = [-10.0, None if ahead is None else -10.0 + float(ahead)]
        self.asked = []

    def beside(self, automaton, *, quick=False):
        self.asked.append(automaton)
        self.likelihood = self.likelihoods[len(self.asked) - 1]
        return self

    def finish(self):
        return ()


def weighed(recogniser, *heard):
    found = OrdinaryWords(recogniser, STOP, MARGIN).weighed(SOUND, heard)
    return [(" ".join(one.text), one.score) for one in found]


def test_a_phrase_falls_as_far_behind_as_a_word_leads_it():
    heard = (alternative("help", "me"), alternative("[unk]", score="-2"))
    assert weighed(HeardTwiceMore(3), *heard) == [("[unk]", 0), ("help me", -3)]


def test_a_phrase_that_is_alone_falls_behind_unknown_speech():
    assert weighed(HeardTwiceMore(3), alternative("help", "me")) == [("[unk]", 0), ("help me", -3)]


def test_a_phrase_already_further_behind_stays_where_it_is():
    heard = (alternative("[unk]"), alternative("help", "me", score="-3.5"))
    assert weighed(HeardTwiceMore(3), *heard) == [("[unk]", 0), ("help me", Decimal("-3.5"))]


@pytest.mark.parametrize("ahead", ["0.9", "-5"])
def test_a_word_that_leads_by_little_or_not_denies_nothing(ahead):
    heard = (alternative("help", "me"), alternative("[unk]", score="-2"))
    assert weighed(HeardTwiceMore(ahead), *heard) == [("help me", 0), ("[unk]", -2)]


def test_where_nothing_is_heard_again_the_phrase_stands():
    """A missed stop is the worse fault."""
    assert weighed(HeardTwiceMore(None), alternative("help", "me")) == [("help me", 0)]


def test_answers_keep_their_places():
    heard = (alternative("help", "me"), alternative("eight", score="-1"), alternative("[unk]", score="-3"))
    assert weighed(HeardTwiceMore(2), *heard) == [("eight", 0), ("[unk]", -2), ("help me", -2)]


def test_a_bare_stop_is_never_denied():
    """Of a person whom no network was taught by it led "top" by 0.3 only, and a missed stop is the worse fault."""
    recogniser = HeardTwiceMore(3)
    assert weighed(recogniser, alternative("stop"), alternative("[unk]", score="-2")) == [
        ("stop", 0),
        ("[unk]", -2),
    ]
    assert not recogniser.asked


def test_a_bare_stop_stands_where_a_long_phrase_beside_it_is_denied():
    heard = (alternative("stop"), alternative("stop", "work", score="-2"), alternative("[unk]", score="-6"))
    assert weighed(HeardTwiceMore(3), *heard) == [("stop", 0), ("stop work", -3), ("[unk]", -6)]


def test_what_is_too_far_behind_to_act_is_not_asked_about():
    recogniser = HeardTwiceMore(3)
    assert weighed(recogniser, alternative("eight"), alternative("help", "me", score="-5"))[0] == ("eight", 0)
    assert not recogniser.asked


def test_a_recogniser_without_ordinary_words_denies_nothing():
    assert weighed(ScriptedRecogniser(), alternative("help", "me")) == [("help me", 0)]


def test_no_stop_phrase_competes_with_itself():
    recogniser = HeardTwiceMore(3)
    weighed(recogniser, alternative("help", "me"))
    assert recogniser.asked[0] == STOP
    assert recogniser.asked[1].words() == {"bed", "top"}, "nor with a word that begins like it"


def test_every_ordinary_word_can_be_said():
    assert len(english_words()) > 3_000
    assert not Pronunciations().unknown(english_words())


def test_another_language_has_no_english_words():
    assert Recogniser(model_folder(), Pronunciations({"halt": "HH AA L T"}, dictionary=False)).ordinary == ()


@pytest.fixture(scope="module")
def recogniser():
    return Recogniser(model_folder())


@pytest.mark.parametrize(("text", "denied"), [("help me", False), ("contain", True)])
def test_a_voice_that_cries_is_heard_and_its_ordinary_word_is_not(recogniser, text, denied):
    """How often, by many voices and people: `python -m models.training.judge_ordinary_words`."""
    words = OrdinaryWords(recogniser, stop_grammar(english()).automaton, MARGIN)
    wave = np.concatenate([np.zeros(4000), rendered("en-us+f2", [text])[0], np.zeros(4000)]).astype(np.int16)
    found = words.weighed(wave, (alternative("help", "me"), alternative("[unk]", score="-5")))
    assert (found[0].text == ("[unk]",)) is denied
