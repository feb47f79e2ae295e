"""A stop phrase against ordinary words: where one word fits the sound as well or better, nobody cried.

Speech outside the grammar is a loop of phones that pays for each of them, so a word that nobody awaits ("bed")
may come nearer to "help help" than to that. Before a stop phrase acts, all networks hear the sound twice more: as
one of the stop phrases, and as one of some thousand ordinary words. A cry of two words or more is denied where a
word fits clearly better. "Stop" leads "top" and "stock" by far wherever it was called in quiet, and what leads by
little is another word; in noise it is never denied.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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
LONG, SHORT = "long", "short"
"""A phrase of several words, and one of a single word."""
STEP: Final = Decimal("0.001")


@dataclass(frozen=True)
class OrdinaryMargins:
    """Log odds. A word that leads a long phrase by `long` denies it.

    A phrase of one word that leads every other by less than `short` is denied too, where the speech is more than
    `quiet_db` above the noise.
    """

    long: Decimal
    short: Decimal
    quiet_db: Decimal


class OrdinaryWords:
    """Looks at stop phrases before they act."""

    def __init__(
        self, recogniser: UtteranceRecogniser, stop_words: WordAutomaton, margins: OrdinaryMargins
    ) -> None:
        self._recogniser, self._stop_words, self._margins = recogniser, stop_words, margins
        begin = tuple(word for word in stop_words.words() if stop_words.accepts((word,)))
        self._words = [word for word in recogniser.ordinary if not word.startswith(begin)]

    def weighed(
        self, samples: Samples, heard: tuple[Hypothesis, ...], above_noise_db: Decimal | None
    ) -> tuple[Hypothesis, ...]:
        """Return the alternatives of an utterance, its stop phrases as far behind as ordinary words put them.

        `samples` are int16 at 16 kHz. Nothing else changes its place.
        """
        quiet = above_noise_db is not None and above_noise_db > self._margins.quiet_db
        asked = {
            kind for one in heard if one.score >= NEAR and (kind := self._kind(one)) and (kind == LONG or quiet)
        }
        if not asked or not self._words:
            return heard
        ahead = self.ahead(samples)
        least = {LONG: self._margins.long, SHORT: STEP - self._margins.short}
        denied = [(kind := self._kind(one)) in asked and ahead >= least[kind] for one in heard]
        return _put_behind(heard, denied, ahead) if any(denied) else heard

    def _kind(self, one: Hypothesis) -> str:
        if not self._stop_words.accepts(one.text):
            return ""
        return LONG if len(one.text) > 1 else SHORT

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
