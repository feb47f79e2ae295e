"""Long stop and hazard phrases within talk that does not pause: somebody beside a radio, or who tells a thing.

An utterance ends at a silence; until one comes, nobody's stop would be heard. So one member follows such talk by a
loop of the stop words and of anything else, which is cheap. What it finds twice in a row is then heard by all, in
windows about the place. A lone "stop" is one syllable, and too much of other talk sounds like it: it wants a
pause.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from typing import Final

import numpy as np

from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.ending import best_words
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK_MS, SoundBlock
from handsfree.hearing.stop_calls import Words, alone, among_talk, lead, phrases_in
from handsfree.hearing.utterance import SoundHearing, Utterance, UtteranceInProgress, UtteranceRecogniser
from handsfree.lexicon.automaton import WordAutomaton

FROM_MS: Final = 2_000
"""Few answers last longer; talk that does is looked into."""
EVERY_MS: Final = 200
ANEW_MS, OVERLAP_MS = 6_000, 1_500
"""The following begins anew, with some of the sound before: its work grows with its length."""
LOOKED_AT: Final = (1, 3)
"""How often before, in a row, a phrase was found: later its place is surer."""
BACK_MS, LENGTHS_MS = (100, 300, 500), (800, 1_200, 1_700)
"""The running guess is late by up to 0.3 s; the phrase ended so long ago, and lasted about so long."""
QUICK_MARGIN: Final = Decimal(0)
"""What the first member alone must find for all to be asked."""


class InTalk:
    """Follows one utterance that goes on; `margin` is the lead (log odds) over unknown speech that is wanted."""

    def __init__(self, recogniser: UtteranceRecogniser, stop_words: WordAutomaton, margin: Decimal) -> None:
        self._recogniser, self._stop_words, self._margin = recogniser, stop_words, margin
        self._loop = among_talk(stop_words)
        self._following: SoundHearing | None = None
        self._begun = self._fed = 0
        self._found: dict[Words, int] = {}

    def forget(self) -> None:
        """Give up what was followed: another utterance may begin."""
        self._following, self._found = None, {}

    def look(
        self, blocks: Sequence[SoundBlock], clock: Callable[[], float], *, last: bool = False
    ) -> Utterance | None:
        """Return the stop phrase that was called lately; `blocks` are all of the utterance so far.

        When the talk has ended (`last`), there will be no second time.
        """
        if not self._suspected(blocks, (0, *LOOKED_AT) if last else LOOKED_AT):
            return None
        called = [(window, heard) for window in _windows(blocks) if (heard := self._called(window))]
        if not called:
            return None
        window, heard = max(called, key=lambda one: lead(one[1]))
        if lead(heard) < self._margin:
            return None
        said = UtteranceInProgress(self._recogniser, self._stop_words, window, None)
        return said.utterance(heard, during_speech=False, clock=clock)

    def _suspected(self, blocks: Sequence[SoundBlock], at: Sequence[int]) -> bool:
        """Say whether the following finds a phrase, and has in a row so many times before."""
        if self._following is None:
            self._following = self._recogniser.beside(self._loop, quick=True)
            self._begun = self._fed = 0
        elif (self._fed - self._begun) * BLOCK_MS > ANEW_MS:
            self._following = self._recogniser.beside(self._loop, quick=True)
            self._begun = self._fed = max(0, len(blocks) - OVERLAP_MS // BLOCK_MS)
        self._following.feed(_sound(blocks[self._fed :]).tobytes())
        self._fed = len(blocks)
        found = {words for words in phrases_in(self._following.partial(), self._stop_words) if len(words) > 1}
        self._found = {words: self._found.get(words, -1) + 1 for words in found}
        return any(times in at for times in self._found.values())

    def _called(self, window: Sequence[SoundBlock]) -> tuple[Hypothesis, ...]:
        """Return what a window is heard as where that is a long phrase; by one member first, then by all."""
        if not self._long(quick := self._heard(window, quick=True)) or lead(quick) < QUICK_MARGIN:
            return ()
        heard = self._heard(window)
        return heard if self._long(heard) else ()

    def _long(self, heard: tuple[Hypothesis, ...]) -> bool:
        words = best_words(heard)
        return len(words) > 1 and self._stop_words.accepts(words)

    def _heard(self, window: Sequence[SoundBlock], *, quick: bool = False) -> tuple[Hypothesis, ...]:
        hearing = self._recogniser.beside(self._loop, quick=quick)
        hearing.feed(_sound(window).tobytes())
        return alone(hearing.finish(), self._stop_words)


def _windows(blocks: Sequence[SoundBlock]) -> Iterator[tuple[SoundBlock, ...]]:
    for back_ms in BACK_MS:
        end = len(blocks) - back_ms // BLOCK_MS
        for length_ms in LENGTHS_MS:
            yield tuple(blocks[max(0, end - length_ms // BLOCK_MS) : end])


def _sound(blocks: Sequence[SoundBlock]) -> Samples:
    return np.concatenate([block.samples for block in blocks]) if blocks else np.zeros(0, np.int16)
