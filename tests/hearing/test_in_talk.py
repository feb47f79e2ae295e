"""Stop phrases within talk that never pauses: heard where they are long and clear, not where a note is told."""

import sys
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from own_voice import rendered
from scripted_recogniser import ScriptedRecogniser, alternative, said
from sounds import burner_noise

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.hearing.stop_calls import alone, among_talk, lead, phrases_in
from handsfree.lexicon.automaton import choice, optional, phrase, phrases, sequence
from handsfree.procedure.languages import english
from handsfree.questions.grammar import stop_grammar
from handsfree.session.fusion import hazard_called
from handsfree.shipped import model_folder
from handsfree.visit.hearing import heard_from

SCRIPT = ("radio", "stop", "work", "yes", "note")
STOP = phrases(["stop", "stop work"]).automaton()
ANSWERS = choice(phrases(["yes", "stop", "stop work"]), sequence(phrase("note"), optional(phrase("[unk]"))))
RADIO = ("radio",) * 9
CALLED = said(SCRIPT, 1.0, *RADIO, 0.12, "stop", "work", 0.12, *RADIO, 1.5)


def heard(samples, grammar=ANSWERS, *, in_talk=Decimal(3)):
    listener = Listener(ScriptedRecogniser(SCRIPT), STOP, in_talk=in_talk)
    listener.listen_for(grammar.automaton())
    told = [one for one in listener.utterances(Recording(samples)) if isinstance(one, Utterance)]
    return [" ".join(one.alternatives[0].text) for one in told]


def test_a_long_stop_phrase_within_talk_is_told_before_the_talk_ends():
    assert heard(CALLED) == ["stop work", "[unk]"]
    assert heard(CALLED, in_talk=None) == ["[unk]"], "nobody looks"


def test_a_lone_stop_within_talk_is_left_alone():
    """One syllable: too much of other talk sounds like it."""
    assert heard(said(SCRIPT, 1.0, *RADIO, 0.12, "stop", 0.12, *RADIO, 1.5)) == ["[unk]"]


def test_the_last_words_of_talk_are_looked_at_when_it_ends():
    assert heard(said(SCRIPT, 1.0, *RADIO, 0.12, "stop", "work", 1.5)) == ["stop work"]


def test_what_is_told_because_it_was_asked_for_calls_nothing():
    """A note tells of what was; the talk after its first word is its own."""
    free = phrases(["[unk]"])
    assert "stop work" not in heard(CALLED, free)


def test_the_loop_is_read_as_the_stop_words_alone_would_be():
    listed = (
        alternative("[unk]", "stop", "work", score="0"),
        alternative("stop", "work", score="-1"),
        alternative("[unk]", "[unk]", score="-3"),
        alternative("[unk]", score="-4"),
    )
    loop = among_talk(STOP)
    assert all(loop.accepts(one.text) for one in listed)
    kept = alone(listed, STOP)
    assert [(one.text, one.score) for one in kept] == [(("stop", "work"), 0), (("[unk]",), -2)]
    assert lead(kept) == 2
    assert alone((), STOP) == ()


def test_phrases_are_found_as_long_as_they_can_be():
    words = ("[unk]", "stop", "work", "work", "stop", "[unk]")
    assert list(phrases_in(words, STOP)) == [("stop", "work"), ("stop",)]


@pytest.fixture(scope="module")
def recogniser():
    return Recogniser(model_folder())


@pytest.mark.slow("six seconds of talk are heard twice, and looked into")
def test_a_voice_that_calls_a_hazard_in_one_breath_with_other_talk_stops_the_work(recogniser):
    """By a rendered voice; how often people are heard: `python -m tests.bench.live.stop_in_talk`."""
    talk = "and then my sister said that we might as well drive over to the lake on sunday"
    before, call, after = rendered("en-us+f3", [talk, "stop everything", talk])
    wave = np.concatenate([np.zeros(8000), before[:40000], call[400:-3000], after[2000:34000], np.zeros(4000)])
    wave += burner_noise(len(wave) / 16000 + 1)[: len(wave)] * 20
    hazards = {}
    for margin in (None, Decimal(3)):
        listener = Listener(recogniser, stop_grammar(english()).automaton, in_talk=margin)
        listener.listen_for(phrases(["yes", "no", "stop", "stop everything"]).automaton())
        told = [one for one in listener.utterances(Recording(wave.astype(np.int16))) if isinstance(one, Utterance)]
        inputs = [heard_from(one, 0, 0, "", None) for one in told]
        hazards[margin] = [
            hazard_called(
                english(),
                english().pronounced({}),
                [(one.text, one.score) for one in each.alternatives],
                above_noise_db=each.above_noise_db,
            )
            for each in inputs
        ]
    assert not any(hazards[None]), "only a pause would have ended the call"
    assert ("stop-work", ("stop", "everything")) in hazards[Decimal(3)]
