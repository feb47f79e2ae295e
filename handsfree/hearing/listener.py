"""From blocks of sound to finished utterances: voice activity, the grammar of the moment and the recogniser.

The ends of utterances are found by trial: after some silence the recogniser is asked for its final word;
if the grammar says that more must come, or may, the same sound is fed again and listening goes on. (The
recogniser's running guess is late by up to 0.3 s and can be wrong; a trial takes a few hundredths.)
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from handsfree.hearing.alternatives import Alternative
from handsfree.hearing.ending import MARKS_MS, best_words, complete, silence_wanted, unfinished_too
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK, BLOCK_MS, Block, Source
from handsfree.hearing.utterance import Ears, Spoken, Utterance, dithered
from handsfree.hearing.voice_activity import Activity, State, VoiceActivity
from handsfree.lexicon.automaton import WordAutomaton

__all__ = ["Ears", "Listener", "SpeechBegan", "Utterance", "whole_utterance"]

BEFORE_MS = 500
"""Sound kept from before the voice was noticed: the detector is sure 80 to 140 ms late, weak sounds 500."""
LONGEST_MS = 15_000
STANDING_MS = 800
"""In unsteady noise no silence may come: a complete sentence that has not changed for so long is taken."""
ECHO_MS = 200
"""After the tool's own voice the room still sounds."""
SPOT_WINDOW_MS = 800
"""About one stop phrase: a longer window holds more of the tool's own voice, and then all is unknown speech."""
SPOT_EVERY_MS = 200
SPOT_MARGIN = Decimal(2)
"""How far (log odds) stop words must lead unknown speech over the tool's voice.

By the bench (tests/bench/live/stop_over_voice.py) the tool's prompts then stop nothing, except "burner off
now", which is too like "burner out".
"""
SPOT_FROM_BLOCKS = 20
LONGEST_STOP_MS = 1_200


@dataclass(frozen=True)
class SpeechBegan:
    """Somebody has begun to speak; `during_speech` while the tool itself was speaking."""

    at_ms: int
    during_speech: bool


class Listener:
    """Follows one source; give it every block in order with `hear`.

    With `talk_over` (a headset, which does not hear the tool) people may speak at any time; without it
    only the stop words are listened for while the tool speaks.
    """

    def __init__(
        self,
        ears: Ears,
        stop_words: WordAutomaton | None = None,
        *,
        talk_over: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._ears, self._stop_words, self._talk_over, self._clock = ears, stop_words, talk_over, clock
        self._activity = VoiceActivity()
        self._grammar: WordAutomaton | None = None
        self._before: deque[Block] = deque(maxlen=BEFORE_MS // BLOCK_MS)
        self._spoken: Spoken | None = None
        self._tool_speaks = False
        self._deaf_until_ms = 0
        self._now_ms = 0
        self._spot_after_ms = 0
        self._window: deque[Block] = deque(maxlen=SPOT_WINDOW_MS // BLOCK_MS)

    def listen_for(self, grammar: WordAutomaton) -> None:
        """Take up the grammar of the moment; an utterance in progress still ends under the old one.

        Raises Problem when the model cannot hear one of its words.
        """
        self._grammar = grammar
        if self._spoken is None:
            self._ears.listen_for(unfinished_too(grammar))

    @property
    def ready(self) -> bool:
        """Whether there is a grammar to listen for."""
        return self._grammar is not None

    def tool_speaks(self, speaking: bool) -> None:
        """Say that the tool's own voice begins or has ended."""
        if self._tool_speaks and not speaking and not self._talk_over:
            self._deaf_until_ms = self._now_ms + ECHO_MS
            self._activity.quieten()
        if speaking and not self._talk_over:
            self._give_up()
            self._window.clear()
        self._tool_speaks = speaking

    def hear(self, block: Block) -> Iterator[SpeechBegan | Utterance]:
        """Take the next block; yield what it brought to light."""
        self._now_ms = block.start_ms + BLOCK_MS
        activity = self._activity.follow(block.samples)  # always: the noise is learned in the meantime
        if self._tool_speaks and not self._talk_over:
            yield from self._spot(block)
        elif block.start_ms >= self._deaf_until_ms:
            yield from self._follow(block, activity)
        else:
            self._activity.quieten()

    def finish(self) -> Iterator[Utterance]:
        """End at the end of the source: what was being said counts as said."""
        if self._spoken is not None:
            yield from self._utterance(self._spoken, self._spoken.trial())

    def utterances(self, source: Source) -> Iterator[SpeechBegan | Utterance]:
        """Listen to a source from beginning to end."""
        for block in source.blocks():
            yield from self.hear(block)
        yield from self.finish()

    def _follow(self, block: Block, activity: Activity) -> Iterator[SpeechBegan | Utterance]:
        if self._spoken is not None:
            self._spoken.take(block, activity)
            yield from self._ended(self._spoken, activity)
            return
        self._before.append(block)
        if activity.state is State.SPEAKING and self._grammar is not None:
            self._spoken = Spoken(self._ears, self._grammar, tuple(self._before), activity)
            self._before.clear()
            yield SpeechBegan(block.start_ms, self._tool_speaks)

    def _ended(self, spoken: Spoken, activity: Activity) -> Iterator[Utterance]:
        too_long = spoken.length_ms >= LONGEST_MS
        if not (too_long or activity.silence_ms in MARKS_MS or spoken.standing_ms >= STANDING_MS):
            return
        alternatives = spoken.trial()
        words = best_words(alternatives)
        wanted = silence_wanted(words, spoken.grammar, spoken.above_noise_db)
        standing = spoken.standing_ms >= STANDING_MS and complete(words, spoken.grammar)
        if too_long or standing or activity.silence_ms >= wanted:
            yield from self._utterance(spoken, alternatives)
        else:
            spoken.go_on()

    def _utterance(self, spoken: Spoken, alternatives: tuple[Alternative, ...]) -> Iterator[Utterance]:
        self._give_up()
        if alternatives:  # a knock or a breath is nothing said
            yield spoken.utterance(alternatives, during_speech=self._tool_speaks, now=self._clock())

    def _give_up(self) -> None:
        self._spoken = None
        self._before.clear()
        self._activity.quieten()
        if self._grammar is not None:
            self._ears.listen_for(unfinished_too(self._grammar))

    def _spot(self, block: Block) -> Iterator[Utterance]:
        """Look for stop words in the last second, again and again: the tool's voice leaves no silences."""
        if block.start_ms < self._spot_after_ms:
            return
        self._window.append(block)
        if self._stop_words is None or block.start_ms % SPOT_EVERY_MS or len(self._window) < SPOT_FROM_BLOCKS:
            return
        self._ears.listen_for(self._stop_words)
        self._ears.feed(dithered(np.concatenate([each.samples for each in self._window])).tobytes())
        alternatives = self._ears.finish()
        if self._stop_words.accepts(best_words(alternatives)) and lead(alternatives) >= SPOT_MARGIN:
            spoken = Spoken(self._ears, self._stop_words, tuple(self._window), None)
            self._window.clear()
            self._spot_after_ms = self._now_ms + LONGEST_STOP_MS  # the same words are not heard twice
            yield spoken.utterance(alternatives, during_speech=True, now=self._clock())
        if self._grammar is not None:
            self._ears.listen_for(unfinished_too(self._grammar))


def lead(alternatives: tuple[Alternative, ...]) -> Decimal:
    """Return how far (log odds) the best is before unknown speech; very far when that is no alternative."""
    rivals = [one.score for one in alternatives if one.text == (UNKNOWN,)]
    return alternatives[0].score - max(rivals) if rivals else Decimal(99)


def whole_utterance(ears: Ears, grammar: WordAutomaton, samples: Samples) -> Utterance:
    """Hear a short recording as one utterance, without looking for its beginning and end."""
    padded = np.pad(samples, (0, -len(samples) % BLOCK))
    activity = VoiceActivity()
    quiet = Activity(State.QUIET, 0, -90.0, -90.0)
    blocks = [Block(each, n * BLOCK_MS, time.monotonic()) for n, each in enumerate(padded.reshape(-1, BLOCK))]
    ears.listen_for(unfinished_too(grammar))
    spoken = Spoken(ears, grammar, tuple(blocks[:1]), quiet)
    for block in blocks[1:]:
        spoken.take(block, activity.follow(block.samples))
    return spoken.utterance(spoken.trial(), during_speech=False, now=time.monotonic())
