"""A stop phrase against ordinary words: where one word fits the sound as well or better, nobody cried.

Speech outside the grammar is a loop of phones that pays for each of them, so a word that nobody awaits ("bed")
may come nearer to "help help" than to that. Before a stop phrase acts, all networks hear the sound once more, as
one of the stop phrases or one of some thousand ordinary words. A cry of two words or more is denied where one word
leads it clearly. "Stop" leads "top" and "stock" by far wherever it was called in quiet, and what leads them by
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
from handsfree.lexicon.automaton import WordAutomaton, choice, exactly, phrases

NEAR: Final = Decimal(-4)
"""What is further behind the best acts nowhere, and need not be looked at."""
UNLISTED: Final = Decimal(4)
"""So far or further ahead is a word where no phrase was found again, and a phrase where no word was."""

LONG, SHORT = "long", "short"
"""A phrase of several words, and one of a single word."""
KINDS: Final = (LONG, SHORT, "")
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
        denied = {kind: ahead[kind] for kind in asked if ahead[kind] >= least[kind]}
        return _put_behind(heard, [denied.get(self._kind(one)) for one in heard]) if denied else heard

    def _kind(self, one: Hypothesis) -> str:
        if not self._stop_words.accepts(one.text):
            return ""
        return LONG if len(one.text) > 1 else SHORT

    def ahead(self, samples: Samples) -> dict[str, Decimal]:
        """Return by how much (log odds) the likeliest word leads the likeliest phrase of each kind."""
        hearing = self._recogniser.beside(self._either)
        hearing.feed(samples.tobytes())
        heard = [one for one in hearing.finish() if one.text != (UNKNOWN,)]
        best = {kind: max((one.score for one in heard if self._kind(one) == kind), default=None) for kind in KINDS}
        word = best[""]
        if word is None:
            return {LONG: -UNLISTED, SHORT: -UNLISTED}
        return {kind: UNLISTED if (called := best[kind]) is None else word - called for kind in (LONG, SHORT)}

    def prepare(self) -> None:
        """Make the graph now (0.3 s), so that no cry waits for it."""
        if self._words:
            _ = self._either

    @cached_property
    def _either(self) -> WordAutomaton:
        either = choice(exactly(self._stop_words), phrases(self._words)).automaton()
        self._recogniser.keep(either)
        return either


def _put_behind(heard: Sequence[Hypothesis], ahead: Sequence[Decimal | None]) -> tuple[Hypothesis, ...]:
    """Let each lead the best of those that stay (None) by no more than a word lets it: `ahead` the other way.

    Where none stays, unknown speech does.
    """
    stay = [one for one, back in zip(heard, ahead, strict=True) if back is None]
    if not stay:
        first, last = heard[0].words[0], heard[0].words[-1]
        sure = min(word.confidence for word in heard[0].words)
        stay = [Hypothesis((SpokenWord(UNKNOWN, first.start_ms, last.end_ms, sure),), heard[0].score)]
    best = max(one.score for one in stay)
    moved = [
        replace(one, score=min(one.score, best - back))
        for one, back in zip(heard, ahead, strict=True)
        if back is not None
    ]
    ordered = sorted([*stay, *moved], key=lambda one: -one.score)
    return tuple(replace(one, score=one.score - ordered[0].score) for one in ordered)
