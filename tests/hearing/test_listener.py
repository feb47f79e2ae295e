import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))  # spawned children import the stand-ins by name

from scripted_recogniser import ScriptedRecogniser, alternative, said

from handsfree.hearing import ending
from handsfree.hearing.listener import (
    BEFORE_MS,
    LONGEST_MS,
    TALK_MS,
    Listener,
    NothingSaid,
    SpeechBegan,
    Utterance,
    whole_utterance,
)
from handsfree.hearing.sources import Recording
from handsfree.hearing.utterance import AHEAD_MS, LEAD_MS, is_clipped
from handsfree.lexicon.automaton import WordAutomaton, choice, optional, phrase, phrases, sequence

DIGITS = phrases(["nine", "three"])
GRAMMAR = choice(
    sequence(DIGITS, phrase("point"), DIGITS),
    sequence(phrase("hundred"), optional(sequence(phrase("and"), DIGITS))),
    phrases(["stop work", "yes"]),
).automaton()
STOP = phrases(["stop work"]).automaton()
SCRIPT = ("nine", "point", "three", "hundred", "and", "stop", "work", "yes", "radio")


def listening(**options):
    recogniser = ScriptedRecogniser(SCRIPT)
    listener = Listener(recogniser, STOP, **options)
    listener.listen_for(GRAMMAR)
    return listener, recogniser


def heard(*parts, **options):
    """What a listener makes of the parts, after a second of quiet."""
    listener, _ = listening(**options)
    events = list(listener.utterances(Recording(said(SCRIPT, 1.0, *parts))))
    return [event for event in events if isinstance(event, Utterance)]


def silence_waited(utterance):
    return utterance.started_ms + len(utterance.samples) // 16 - utterance.ended_ms


def texts(utterances):
    return [" ".join(utterance.alternatives[0].text) for utterance in utterances]


def test_a_complete_reading_ends_after_a_short_silence():
    (utterance,) = heard("nine", "point", "three", 3.0)
    assert texts([utterance]) == ["nine point three"]
    assert silence_waited(utterance) == ending.COMPLETE_MS


def test_a_sentence_that_could_go_on_is_given_longer():
    (utterance,) = heard("hundred", 3.0)
    assert texts([utterance]) == ["hundred"]
    assert silence_waited(utterance) == ending.OPEN_MS


def test_unfinished_words_are_given_longest_and_then_are_not_a_reading():
    (utterance,) = heard("nine", "point", 3.0)
    assert silence_waited(utterance) == ending.UNFINISHED_MS
    assert texts([utterance]) == ["[unk]"]
    assert utterance.fragment == ("nine", "point")


@pytest.mark.parametrize("pause_s", [0.3, 0.8, 1.3])
def test_a_pause_inside_a_number_does_not_cut_it_off(pause_s):
    assert texts(heard("nine", "point", pause_s, "three", 2.0)) == ["nine point three"]
    assert texts(heard("hundred", 0.4, "and", pause_s, "nine", 2.0)) == ["hundred and nine"]


def test_a_pause_within_a_sentence_is_not_decoded_again():
    """The running guess says that words lack; only after the last is the final word asked for, once."""
    listener, recogniser = listening()
    before = len(recogniser.grammars)
    said_in_pieces = said(SCRIPT, 1.0, "nine", 0.7, "point", "three", 2.0)
    (utterance,) = [one for one in listener.utterances(Recording(said_in_pieces)) if isinstance(one, Utterance)]
    assert texts([utterance]) == ["nine point three"]
    assert len(recogniser.grammars) == before + 1, "taken up anew for the next utterance alone"


def test_nobody_ends_within_a_spelled_name():
    """The "c" of "c o two" was heard for "three"; "nine point" may still be all that was said."""
    value = sequence(optional(phrases(["c o two", "p p m"])), DIGITS, phrase("point"), DIGITS)
    ends = ending.unfinished_too(value.automaton())
    assert ends.accepts(["nine", "point"])
    assert not ends.accepts(["c"])
    assert not ends.accepts(["p", "p"])


def test_speech_outside_the_grammar_ends_as_unknown():
    (utterance,) = heard("radio", "radio", 2.0)
    assert texts([utterance]) == ["[unk]"]
    assert utterance.fragment == ()
    assert silence_waited(utterance) == ending.OPEN_MS


def test_two_utterances_are_two_and_their_times_are_those_of_the_source():
    first, second = heard("yes", 2.0, "stop", "work", 2.0)
    assert texts([first, second]) == ["yes", "stop work"]
    assert first.ended_ms == pytest.approx(1300, abs=60)
    assert second.ended_ms == pytest.approx(1340 + 2000 + 640, abs=60)
    assert first.ended_ms - 300 - BEFORE_MS <= first.started_ms < first.ended_ms - 300


def test_what_is_said_when_the_source_ends_counts():
    assert texts(heard("nine", "point", "three")) == ["nine point three"]


def test_talk_that_never_pauses_is_ended_and_what_is_called_after_it_is_heard():
    """A radio in the room: two pieces of talk, and the stop is an utterance of its own."""
    many = ["radio", 0.15] * 25
    first, *others = heard(*many, 0.9, "stop", "work", 1.0)
    assert (texts([first]), len(first.samples) // 16) == (["[unk]"], TALK_MS)
    assert texts(others) == ["[unk]", "stop work"]


def test_an_answer_that_never_pauses_is_ended_at_the_longest_alone():
    """A long row of figures is no talk: only what is speech outside the grammar by then is ended sooner."""
    endless = WordAutomaton(((0, "nine", 1), (1, "nine", 1)), frozenset({1}))
    recogniser = ScriptedRecogniser(SCRIPT)
    listener = Listener(recogniser)
    listener.listen_for(endless)
    told = listener.utterances(Recording(said(SCRIPT, 1.0, *["nine", 0.1] * 40, 1.0)))
    first, *_ = [one for one in told if isinstance(one, Utterance)]
    assert set(first.alternatives[0].text) == {"nine"}
    assert len(first.samples) // 16 == LONGEST_MS


def test_talk_full_of_short_gaps_is_not_heard_again_at_each():
    """Each gap after what looks like an answer could end it; a trial that fails hears all of it once more."""
    one_more = WordAutomaton(((0, "nine", 1), (1, "nine", 1), (1, "three", 2)), frozenset({2}))
    recogniser = ScriptedRecogniser(SCRIPT)
    listener = Listener(recogniser)
    listener.listen_for(one_more)
    told = listener.utterances(Recording(said(SCRIPT, 1.0, *["nine", 0.2] * 24, "three", 1.0)))
    (utterance,) = [one for one in told if isinstance(one, Utterance)]
    assert utterance.alternatives[0].text[-1] == "three"
    assert len(recogniser.grammars) <= 9, "at first, after each failed trial, and for the next utterance"


class Begun:
    """An utterance that is listened to ahead, in samples."""

    def __init__(self, length):
        self.length, self.dropped = length, False

    def drop(self):
        self.dropped = True


class Foresighted(ScriptedRecogniser):
    """Notes what it was to listen to ahead, and what of it was used."""

    def __init__(self):
        super().__init__(SCRIPT)
        self.begun, self.used, self.noise = [], [], []

    def ahead(self, samples, grammar, noise):
        self.begun.append(Begun(len(samples)))
        return self.begun[-1]

    def weigh(self, samples, heard, grammar, noise, ahead=None):
        self.used.append((ahead, ahead and ahead.dropped, len(samples)))
        self.noise.append(noise)
        return heard, None


def foresight(*parts):
    recogniser = Foresighted()
    listener = Listener(recogniser)
    listener.listen_for(GRAMMAR)
    list(listener.utterances(Recording(said(SCRIPT, 1.0, *parts))))
    return recogniser


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("nine", "point", "three"), ending.COMPLETE_MS),
        (("hundred",), ending.OPEN_MS),
        (("radio",), ending.OPEN_MS),
    ],
)
def test_the_further_opinion_listens_while_the_silence_is_waited_for(words, wanted):
    found = foresight(*words, 3.0)
    ((ahead, dropped, length),) = found.used
    assert found.begun == [ahead]
    assert not dropped
    assert length - ahead.length == 16 * min(LEAD_MS, wanted - AHEAD_MS)


def test_what_was_listened_to_ahead_is_dropped_when_the_speech_goes_on():
    found = foresight("hundred", 0.5, "and", "nine", 3.0)
    first, second = found.begun
    assert first.dropped
    assert [(ahead, dropped) for ahead, dropped, _ in found.used] == [(second, False)]


def test_talk_full_of_pauses_is_not_listened_to_ahead_at_each():
    assert len(foresight(*["radio", 0.5] * 12, 2.0).begun) <= 7, "of 12 pauses, and the end"


def test_what_was_nothing_said_is_noise_to_the_further_opinion():
    """A swell of the noise begins as an utterance; when it has ended as none, somebody speaks at once."""
    swell = (np.sin(np.arange(16_000) * 0.2) * 6_000).astype(np.int16)
    begins = [np.zeros(4_000, np.int16), swell]

    def noise_before(pause):
        recogniser = Foresighted()
        listener = Listener(recogniser)
        listener.listen_for(GRAMMAR)
        sound = np.concatenate([*begins, np.zeros(pause, np.int16), said(SCRIPT, "yes", 2.0)])
        return list(listener.utterances(Recording(sound))), recogniser.noise

    told, _ = noise_before(48_000)
    ended_ms = next(one.at_ms for one in told if isinstance(one, NothingSaid))
    pause = 16 * (ended_ms + 40) - sum(map(len, begins))
    told, (noise,) = noise_before(pause)
    assert [type(one) for one in told[:3]] == [SpeechBegan, NothingSaid, SpeechBegan]
    assert len(noise) == 16_000


def test_the_beginning_of_speech_is_told_before_its_end():
    listener, _ = listening()
    began, utterance = listener.utterances(Recording(said(SCRIPT, 1.0, "yes", 1.0)))
    assert isinstance(began, SpeechBegan)
    assert 1000 <= began.at_ms <= 1200
    assert began.at_ms < utterance.ended_ms


def test_a_complete_sentence_that_stands_still_is_taken_although_noise_goes_on():
    """Unsteady noise after the reading keeps the detector on: here a warble below the script's loudness."""
    time_s = np.arange(48000) / 16000
    warble = 6000 * np.sin(2 * np.pi * 700 * time_s) * (1 + np.sign(np.sin(2 * np.pi * 3 * time_s))) / 2
    samples = np.concatenate([said(SCRIPT, 1.0, "yes"), warble.astype(np.int16)])
    listener, _ = listening()
    events = [event for event in listener.utterances(Recording(samples)) if isinstance(event, Utterance)]
    assert texts(events)[0] == "yes"
    assert events[0].started_ms + len(events[0].samples) // 16 < 2700


def test_while_the_tool_speaks_only_stop_words_are_heard_and_those_at_once():
    listener, _ = listening()
    listener.tool_speaks(True)
    events = []
    for block in Recording(said(SCRIPT, 1.0, "yes", 1.5, "stop", "work", 2.0)).blocks():
        events += [(block.start_ms, event) for event in listener.hear(block)]
    told_ms, utterance = events[0]
    assert [event.alternatives[0].text for _, event in events] == [("stop", "work")]
    assert utterance.during_speech
    assert told_ms <= 1340 + 1500 + 640 + 200


def test_after_the_tools_own_voice_its_echo_is_not_heard_but_what_follows_is():
    listener, _ = listening()
    listener.tool_speaks(True)
    events = []
    for block in Recording(said(SCRIPT, 1.0, "yes", 1.5, "yes", 1.0)).blocks():
        if block.start_ms == 1240:  # its own "yes" still sounds for 100 ms
            listener.tool_speaks(False)
        events += list(listener.hear(block))
    assert texts([event for event in events if isinstance(event, Utterance)]) == ["yes"]
    assert isinstance(events[0], SpeechBegan)
    assert not events[0].during_speech
    assert events[0].at_ms > 2800


def test_with_a_headset_people_may_talk_over_the_tool():
    listener, _ = listening(talk_over=True)
    listener.tool_speaks(True)
    began, utterance = listener.utterances(Recording(said(SCRIPT, 1.0, "yes", 1.0)))
    assert began.during_speech
    assert utterance.during_speech
    assert texts([utterance]) == ["yes"]


def test_a_new_grammar_counts_from_the_next_utterance():
    listener, _ = listening()
    events = []
    for block in Recording(said(SCRIPT, 1.0, "nine", "point", "three", 1.0, "nine", 2.0)).blocks():
        if block.start_ms == 1400:
            listener.listen_for(phrases(["nine"]).automaton())
        events += list(listener.hear(block))
    utterances = [event for event in events if isinstance(event, Utterance)]
    assert texts(utterances) == ["nine point three", "nine"]


def test_lost_sound_inside_an_utterance_marks_it():
    listener, _ = listening()
    utterances = []
    for block in Recording(said(SCRIPT, 1.0, "yes", 1.5, "yes", 1.0)).blocks():
        utterances += [
            event
            for event in listener.hear(replace(block, overflow=block.start_ms == 1100))
            if isinstance(event, Utterance)
        ]
    assert [utterance.overflow for utterance in utterances] == [True, False]


def test_sound_at_full_scale_is_clipped_and_a_loud_free_wave_is_not():
    wave = 32767 * np.sin(2 * np.pi * 1000 * np.arange(1600) / 16000)
    assert not is_clipped((0.9 * wave).astype(np.int16))
    assert is_clipped(np.clip(1.5 * wave, -32768, 32767).astype(np.int16))


def test_a_knock_is_nothing_said():
    knock = np.zeros(48000, np.int16)
    knock[16000:16400] = 9000
    listener, _ = listening()
    assert not [e for e in listener.utterances(Recording(knock)) if isinstance(e, Utterance)]


def test_a_short_recording_is_heard_whole_without_silence_around_it():
    utterance = whole_utterance(ScriptedRecogniser(SCRIPT), GRAMMAR, said(SCRIPT, "nine", "point", "three"))
    assert texts([utterance]) == ["nine point three"]
    assert utterance.started_ms == 0


def test_the_silence_wanted_follows_from_what_could_follow():
    wanted = [
        ending.silence_wanted(tuple(words.split()), GRAMMAR, above)
        for words, above in (
            ("nine point three", 30),
            ("nine point three", 5),
            ("hundred", 30),
            ("hundred and", 30),
        )
    ]
    assert wanted == [160, 260, 600, 1500]


def test_free_talk_after_a_phrase_is_given_time_to_think():
    """A reason is any speech after "because": its first short pause does not end it."""
    grammar = sequence(phrase("because"), optional(phrase("[unk]"))).automaton()
    assert ending.silence_wanted(("because", "[unk]"), grammar, 30) == ending.TALK_MS
    assert ending.silence_wanted(("[unk]",), grammar, 30) == ending.OPEN_MS
    assert not ending.complete(("because", "[unk]"), grammar)


def test_a_made_up_end_never_moves_to_the_front():
    """The unfinished words were likelier than any whole sentence: the answer is unknown, not the sentence."""
    judged = ending.whole_sentences(
        [alternative("nine", "point"), alternative("nine", "point", "three", score="-2")], GRAMMAR
    )
    assert [one.text for one in judged] == [("[unk]",), ("nine", "point", "three")]


def test_beginnings_are_allowed_and_endings_are_not():
    beginnings = ending.unfinished_too(GRAMMAR)
    assert beginnings.accepts(["nine", "point"])
    assert beginnings.accepts(["nine", "point", "three"])
    assert not beginnings.accepts(["point", "three"])
    assert not beginnings.accepts([])


def test_the_kept_sound_is_as_it_came():
    (utterance,) = heard("yes", 1.0)
    whole = said(SCRIPT, 1.0, "yes", 1.0)
    begin = utterance.started_ms * 16
    assert np.array_equal(utterance.samples, whole[begin : begin + len(utterance.samples)])
