"""Stop and hazard phrases over the tool's own voice, where the microphone hears that too."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from decimal import Decimal

import numpy as np

from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.echo import OwnVoice, Wave
from handsfree.hearing.ending import best_words
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.resampling import RATE, Samples
from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundBlock
from handsfree.hearing.stop_calls import alone, among_talk, lead
from handsfree.hearing.utterance import Utterance, UtteranceInProgress, UtteranceRecogniser
from handsfree.lexicon.automaton import WordAutomaton

WINDOWS_MS = (700, 1_100, 1_700)
"""About a short and a long stop phrase, and a sentence: a longer window holds more of what else sounds."""
EVERY_MS = 200
FROM_MS = 400
MARGIN = Decimal(3)
"""How far (log odds) stop words must lead unknown speech; `tests/bench/live/stop_over_voice.py` measures it."""
QUICK_MARGIN = Decimal(0)
"""The same for the first member alone, which only decides whether all are asked."""
OWN_MARGIN = Decimal(-4)
"""What the tool's own words alone are heard as with this lead, or more, is their echo and nobody's call."""
OWN_SLACK_MS = 300
LONGEST_STOP_MS = 1_200


class OverVoice:
    """Looks for stop words in the last second or so, again and again: the tool's voice leaves no silences."""

    def __init__(self, recogniser: UtteranceRecogniser, stop_words: WordAutomaton) -> None:
        self._recogniser, self._stop_words = recogniser, stop_words
        self._loop = among_talk(stop_words)
        self._kept: deque[SoundBlock] = deque(maxlen=max(WINDOWS_MS) // BLOCK_MS)
        self._fresh: list[Samples] = []
        self._voice: OwnVoice | None = None
        self._not_before_ms = 0

    def begin(self, played: Samples | None) -> None:
        """Take up what the tool begins to say now; None when that is not known."""
        self._kept.clear()
        self._fresh.clear()
        self._voice = None if played is None else OwnVoice(played.astype(np.float64))

    def due(self, block: SoundBlock) -> bool:
        """Take the next block; say whether it is time to look."""
        self._kept.append(block)
        self._fresh.append(block.samples)
        enough = len(self._kept) * BLOCK_MS >= FROM_MS
        return enough and block.start_ms >= self._not_before_ms and block.start_ms % EVERY_MS == 0

    def look(self, clock: Callable[[], float]) -> Utterance | None:
        """Return the stop phrase when one was called just now."""
        cleaned = self._cleaned()
        for window_ms in WINDOWS_MS:
            blocks = tuple(self._kept)[-window_ms // BLOCK_MS :]
            window = cleaned[-len(blocks) * BLOCK :]
            if not self._called(self._listened(window, quick=True), QUICK_MARGIN):
                continue
            alternatives = self._listened(window)
            if not self._called(alternatives, MARGIN) or self._own(best_words(alternatives), len(blocks) * BLOCK):
                continue
            # The same words are not heard twice.
            self._not_before_ms = self._kept[-1].start_ms + BLOCK_MS + LONGEST_STOP_MS
            said = UtteranceInProgress(self._recogniser, self._stop_words, blocks, None)
            self._kept.clear()
            return said.utterance(alternatives, during_speech=True, clock=clock)
        return None

    def _cleaned(self) -> Wave:
        """Return what was heard lately without the tool's voice."""
        fresh = np.concatenate(self._fresh).astype(np.float64)
        self._fresh.clear()
        length = len(self._kept) * BLOCK
        if self._voice is None:
            return np.concatenate([each.samples for each in self._kept]).astype(np.float64)
        self._voice.follow(fresh)
        return self._voice.cleaned(length)

    def _called(self, alternatives: tuple[Hypothesis, ...], margin: Decimal) -> bool:
        return self._stop_words.accepts(best_words(alternatives)) and lead(alternatives) >= margin

    def _own(self, phrase: tuple[str, ...], length: int) -> bool:
        """Say whether the tool's own words of the last so many samples are themselves heard as the phrase."""
        if self._voice is None:
            return False
        slack = OWN_SLACK_MS * RATE // 1000
        end = self._voice.heard_ms * RATE // 1000 - self._voice.delay + slack
        own = self._voice.played[max(0, end - length - 2 * slack) : max(0, end)]
        if len(own) < BLOCK:
            return False
        told = self._listened(own)
        near = [one.score for one in told if one.text == phrase]
        competing = [one.score for one in told if one.text == (UNKNOWN,)]
        return bool(near) and (not competing or near[0] - max(competing) >= OWN_MARGIN)

    def _listened(self, wave: Wave, *, quick: bool = False) -> tuple[Hypothesis, ...]:
        samples = np.clip(np.rint(wave), -32768, 32767).astype(np.int16)
        hearing = self._recogniser.beside(self._loop, quick=quick)
        hearing.feed(samples.tobytes())
        return alone(hearing.finish(), self._stop_words)
