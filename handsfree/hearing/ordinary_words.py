"""A long stop phrase against ordinary words: where one word fits the sound clearly better, nobody cried.

Speech outside the grammar is a loop of phones that pays for each of them, so a word that nobody awaits ("bed")
may come nearer to "help help" than to that. Before a cry of two words or more acts, all networks hear the sound
twice more: as one of the stop phrases, and as one of some thousand ordinary words. A lone "stop" is never denied:
in quiet it led "top" by far by all but one of the people who said it, and by next to nothing by that one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cached_property
from typing import Final

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.resampling import Samples
from handsfree.hearing.utterance import UtteranceRecogniser
from handsfree.lexicon.automaton import WordAutomaton, phrases

NEAR: Final = Decimal(-4)
"""What is further behind the best acts nowhere, and need not be looked at."""
STEP: Final = Decimal("0.001")


class OrdinaryWords:
    """Looks at long stop phrases before they act; `margin` is the lead (log odds) of a word that denies one."""

    def __init__(self, recogniser: UtteranceRecogniser, stop_words: WordAutomaton, margin: Decimal) -> None:
        self._recogniser, self._stop_words, self._margin = recogniser, stop_words, margin
        begin = tuple(word for word in stop_words.words() if stop_words.accepts((word,)))
        self._words = [word for word in recogniser.ordinary if not word.startswith(begin)]

    def weighed(self, samples: Samples, heard: tuple[Hypothesis, ...]) -> tuple[Hypothesis, ...]:
        """Return the alternatives of an utterance, its long stop phrases as far behind as a word leads them.

        `samples` are int16 at 16 kHz. Nothing else changes its place.
        """
        long = [len(one.text) > 1 and self._stop_words.accepts(one.text) for one in heard]
        if not self._words or not any(
            is_long and one.score >= NEAR for one, is_long in zip(heard, long, strict=True)
        ):
            return heard
        ahead = self.ahead(samples)
        return heard if ahead < self._margin else _put_behind(heard, long, ahead)

    def ahead(self, samples: Samples) -> Decimal:
        """Return by how much (log odds) the likeliest ordinary word leads the likeliest stop phrase.

        Each by a hearing of its own: among thousands of words a search may lose a phrase in noise. Either may
        also be unknown speech, which is the same in both.
        """
        called, word = (self._likelihood(samples, grammar) for grammar in self._grammars)
        return Decimal(0) if called is None or word is None else Decimal(repr(word - called)).quantize(STEP)

    def _likelihood(self, samples: Samples, grammar: WordAutomaton) -> float | None:
        hearing = self._recogniser.beside(grammar)
        hearing.feed(samples.tobytes())
        hearing.finish()
        return hearing.likelihood

    def prepare(self) -> None:
        """Make the graphs now (0.3 s), so that no cry waits for them."""
        if self._words:
            _ = self._grammars

    @cached_property
    def _grammars(self) -> tuple[WordAutomaton, WordAutomaton]:
        both = self._stop_words, phrases(self._words).automaton()
        for grammar in both:
            self._recogniser.keep(grammar)
        return both


def _put_behind(heard: Sequence[Hypothesis], denied: Sequence[bool], ahead: Decimal) -> tuple[Hypothesis, ...]:
    """Let the denied ones lead the best of the others by no more than a word lets them: `ahead` the other way.

    Where there is no other, unknown speech is.
    """
    stay = [one for one, no in zip(heard, denied, strict=True) if not no]
    if not stay:
        first, last = heard[0].words[0], heard[0].words[-1]
        sure = min(word.confidence for word in heard[0].words)
        stay = [Hypothesis((SpokenWord(UNKNOWN, first.start_ms, last.end_ms, sure),), heard[0].score)]
    most = max(one.score for one in stay) - ahead
    moved = [replace(one, score=min(one.score, most)) for one, no in zip(heard, denied, strict=True) if no]
    ordered = sorted([*stay, *moved], key=lambda one: -one.score)
    return tuple(replace(one, score=one.score - ordered[0].score) for one in ordered)
