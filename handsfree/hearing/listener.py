"""From blocks of sound to finished utterances: voice activity, the grammar of the moment and the recogniser.

The ends of utterances are found by trial: after some silence, if the recogniser's running guess (late by up to
0.3 s, and sometimes wrong) does not speak against it, it is asked for its final word; if the grammar then says
that more must come, or may, the same sound is fed again and listening goes on.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.ending import (
    MARKS_MS,
    OPEN_MS,
    best_words,
    complete,
    silence_wanted,
    unfinished_too,
    worth_trying,
)
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.in_talk import EVERY_MS, FROM_MS, InTalk
from handsfree.hearing.over_voice import OverVoice
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundBlock, SoundSource
from handsfree.hearing.utterance import Utterance, UtteranceInProgress, UtteranceRecogniser
from handsfree.hearing.voice_activity import Activity, VoiceActivity, VoiceState
from handsfree.lexicon.automaton import WordAutomaton

__all__ = ["Listener", "NothingSaid", "SpeechBegan", "Told", "Utterance", "UtteranceRecogniser", "whole_utterance"]

BEFORE_MS = 500
"""Sound kept from before the voice was noticed: the detector is sure 80 to 140 ms late, weak sounds 500."""
LONGEST_MS = 15_000
TALK_MS = 8_000
"""What is speech outside the grammar by then is ended: a second of it takes the more work the longer it is."""
EARLY_MS = 6_000
"""Later a short silence is no longer tried as its end: a trial that fails hears all of it again."""
NOISE_MS = 1_000
"""Of the noise before an utterance so much is kept."""
STANDING_MS = 800
"""In unsteady noise no silence may come: a complete sentence that has not changed for so long is taken."""
ECHO_MS = 200
"""After the tool's own voice the room still sounds."""
STOP_STILL_MS = 800
"""A stop phrase that began over the tool's voice may end so much later."""


@dataclass(frozen=True)
class SpeechBegan:
    """Somebody has begun to speak; `during_speech` while the tool itself was speaking."""

    at_ms: int
    during_speech: bool


@dataclass(frozen=True)
class NothingSaid:
    """What had begun was no speech: a knock, a breath, the noise's own swell."""

    at_ms: int


Told = SpeechBegan | NothingSaid | Utterance


class Listener:
    """Follows one source; give it every block in order with `hear`.

    With `talk_over` (a headset, which does not hear the tool) people may speak at any time; without it
    only the stop words are listened for while the tool speaks. `in_talk` is the lead that a long one wants in talk
    that goes on without a pause; without it none is looked for there.
    """

    def __init__(
        self,
        recogniser: UtteranceRecogniser,
        stop_words: WordAutomaton | None = None,
        *,
        talk_over: bool = False,
        in_talk: Decimal | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._recogniser, self._talk_over, self._clock = recogniser, talk_over, clock
        self._over_voice = OverVoice(recogniser, stop_words) if stop_words is not None else None
        self._in_talk: InTalk | None = None
        if stop_words is not None and in_talk is not None:
            self._in_talk = InTalk(recogniser, stop_words, in_talk)
        self._activity = VoiceActivity()
        self._grammar: WordAutomaton | None = None
        self._before: deque[SoundBlock] = deque(maxlen=BEFORE_MS // BLOCK_MS)
        self._noise: deque[Samples] = deque(maxlen=(NOISE_MS + BEFORE_MS) // BLOCK_MS)
        self._spoken: UtteranceInProgress | None = None
        self._tool_speaks = False
        self._deaf_until_ms = 0
        self._spot_until_ms = 0
        self._now_ms = 0
        self.noise_db = -90.0
        """The level of the noise, in dB of full scale."""

    def listen_for(self, grammar: WordAutomaton) -> None:
        """Take up the grammar of the moment; an utterance in progress still ends under the old one.

        Raises Problem when the model cannot hear one of its words.
        """
        self._grammar = grammar
        if self._spoken is None:
            self._recogniser.listen_for(unfinished_too(grammar))

    @property
    def ready(self) -> bool:
        """Whether there is a grammar to listen for."""
        return self._grammar is not None

    def tool_speaks(self, speaking: bool, played: Samples | None = None) -> None:
        """Say that the tool's own voice begins or has ended; `played` is what it begins to say (int16, 16 kHz)."""
        if self._tool_speaks and not speaking and not self._talk_over:
            self._deaf_until_ms = self._now_ms + ECHO_MS
            self._spot_until_ms = self._now_ms + STOP_STILL_MS
            self._give_up()
        if speaking and not self._talk_over:
            self._give_up()
            if self._over_voice is not None:
                self._over_voice.begin(played)
        self._tool_speaks = speaking

    def hear(self, block: SoundBlock) -> Iterator[Told]:
        """Take the next block; yield what it brought to light."""
        self._now_ms = block.start_ms + BLOCK_MS
        activity = self._activity.follow(block.samples)  # always: the noise is learned in the meantime
        self.noise_db = activity.noise_db
        over_voice = self._tool_speaks and not self._talk_over
        if (over_voice or self._now_ms <= self._spot_until_ms) and (stop := self._spotted(block)) is not None:
            self._spot_until_ms = 0
            self._give_up()
            yield stop
        elif over_voice:
            pass
        elif block.start_ms >= self._deaf_until_ms:
            yield from self._follow(block, activity)
        else:
            self._activity.quieten()

    def finish(self) -> Iterator[Told]:
        """End at the end of the source: what was being said counts as said."""
        if self._spoken is not None:
            yield from self._utterance(self._spoken, self._spoken.trial())

    def utterances(self, source: SoundSource) -> Iterator[Told]:
        """Listen to a source from beginning to end."""
        for block in source.blocks():
            yield from self.hear(block)
        yield from self.finish()

    def _spotted(self, block: SoundBlock) -> Utterance | None:
        """Return a stop phrase called over the tool's voice."""
        if self._over_voice is None or not self._over_voice.due(block):
            return None
        return self._over_voice.look(self._clock)

    def _follow(self, block: SoundBlock, activity: Activity) -> Iterator[Told]:
        if self._spoken is not None:
            self._spoken.take(block, activity)
            looks = self._spoken.length_ms >= FROM_MS and self._spoken.length_ms % EVERY_MS == 0
            if looks and (stop := self._called_in_talk(self._spoken)) is not None:
                self._give_up()
                yield stop
            else:
                yield from self._ended(self._spoken, activity)
            return
        self._before.append(block)
        self._noise.append(block.samples)
        if activity.state is VoiceState.SPEAKING and self._grammar is not None:
            noise = list(self._noise)[: -BEFORE_MS // BLOCK_MS]  # the rest may hold the beginning of the voice
            self._spoken = UtteranceInProgress(
                self._recogniser,
                self._grammar,
                tuple(self._before),
                activity,
                np.concatenate(noise) if noise else np.zeros(0, np.int16),
            )
            self._noise.clear()
            self._before.clear()
            yield SpeechBegan(block.start_ms, self._tool_speaks)

    def _called_in_talk(self, spoken: UtteranceInProgress, *, last: bool = False) -> Utterance | None:
        """Return a long stop phrase within talk; what is told because it was asked for (a note) calls nothing."""
        if self._in_talk is None or UNKNOWN in spoken.words[1:] or spoken.grammar.accepts((UNKNOWN,)):
            return None
        return self._in_talk.look(spoken.until_silence if last else spoken.blocks, self._clock, last=last)

    def _ended(self, spoken: UtteranceInProgress, activity: Activity) -> Iterator[Told]:
        too_long = spoken.length_ms >= LONGEST_MS
        looked_at = spoken.length_ms == TALK_MS
        mark = activity.silence_ms in MARKS_MS and worth_trying(
            spoken.words, spoken.grammar, activity.silence_ms, spoken.above_noise_db
        )
        stands = spoken.standing_ms >= STANDING_MS
        if activity.silence_ms < OPEN_MS:
            mark = mark and spoken.length_ms <= EARLY_MS and spoken.worth_another_trial
            stands = stands and spoken.worth_another_trial
        if not (too_long or looked_at or mark or stands):
            return
        alternatives = spoken.trial()
        words = best_words(alternatives)
        too_long = too_long or (looked_at and words == (UNKNOWN,) and not spoken.grammar.accepts(words))
        wanted = silence_wanted(words, spoken.grammar, spoken.above_noise_db)
        standing = spoken.standing_ms >= STANDING_MS and complete(words, spoken.grammar)
        if too_long or standing or activity.silence_ms >= wanted:
            yield from self._utterance(spoken, alternatives)
        else:
            spoken.go_on()

    def _utterance(self, spoken: UtteranceInProgress, alternatives: tuple[Hypothesis, ...]) -> Iterator[Told]:
        talk = spoken.length_ms >= FROM_MS and best_words(alternatives) == (UNKNOWN,)
        utterance = self._called_in_talk(spoken, last=True) if talk else None
        if utterance is None and alternatives:
            utterance = spoken.utterance(alternatives, during_speech=self._tool_speaks, clock=self._clock)
        if utterance is None:  # it was the noise of the moment
            self._noise.extend(block.samples for block in spoken.blocks)
        self._give_up()
        yield NothingSaid(self._now_ms) if utterance is None else utterance

    def _give_up(self) -> None:
        if self._spoken is not None:
            self._spoken.drop()
        self._spoken = None
        if self._in_talk is not None:
            self._in_talk.forget()
        self._before.clear()
        self._activity.quieten()
        if self._grammar is not None:
            self._recogniser.listen_for(unfinished_too(self._grammar))


def whole_utterance(recogniser: UtteranceRecogniser, grammar: WordAutomaton, samples: Samples) -> Utterance:
    """Hear a short recording as one utterance, without looking for its beginning and end."""
    padded = np.pad(samples, (0, -len(samples) % BLOCK))
    activity = VoiceActivity()
    quiet = Activity(VoiceState.QUIET, 0, -90.0, -90.0)
    blocks = [SoundBlock(each, n * BLOCK_MS, time.monotonic()) for n, each in enumerate(padded.reshape(-1, BLOCK))]
    recogniser.listen_for(unfinished_too(grammar))
    spoken = UtteranceInProgress(recogniser, grammar, tuple(blocks[:1]), quiet, np.zeros(0, np.int16))
    for block in blocks[1:]:
        spoken.take(block, activity.follow(block.samples))
    return spoken.utterance(spoken.trial(), during_speech=False, clock=time.monotonic)
