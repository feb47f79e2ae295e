"""One utterance: while it is being said, and when it is finished."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Protocol

import numpy as np

from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.ending import best_words, complete, silence_due, unfinished_too, whole_sentences
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK_MS, SoundBlock
from handsfree.hearing.voice_activity import Activity, decibels
from handsfree.lexicon.automaton import WordAutomaton

if TYPE_CHECKING:  # without the third opinion the process that hears needs none of it
    from handsfree.hearing.general.ahead import Ahead
    from handsfree.hearing.general.judging import GeneralJudgement

FEED_BLOCKS = 5
FREE_TRIALS, GROWN = 2, 1.5
"""So many early trials may fail; then each waits until the utterance has grown so much: all is heard once more."""
AHEAD_MS, LEAD_MS = 60, 160
"""The further opinion listens so long before the silence that may end it, but never sooner than after the first.

What it hears lacks the rest of the silence: with 340 ms less of noise it was less sure of some digits at 0 dB.
"""
AFTER_MS = 300
"""Of the silence at the end of an utterance."""
FULL_SCALE = 32_700
UNMEASURED_DB = -90.0
"""The level of noise that nobody measured; a line that is silent between the words (a gate) tells none either."""


class SoundHearing(Protocol):
    """Hears sound by one grammar."""

    def feed(self, pcm: bytes) -> None:
        """Take int16 sound at 16 kHz."""

    def partial(self) -> tuple[str, ...]:
        """Return the words as they look now."""

    def finish(self) -> tuple[Hypothesis, ...]:
        """End the utterance: what was heard, best first."""


class UtteranceRecogniser(SoundHearing, Protocol):
    """The recogniser, as far as the listener uses it."""

    def listen_for(self, automaton: WordAutomaton) -> None:
        """Take up a grammar and forget what was fed."""

    def beside(self, automaton: WordAutomaton, *, quick: bool = False) -> SoundHearing:
        """Begin to hear other sound by another grammar; what was fed here stays. `quick`: by one of several."""

    def ahead(self, samples: Samples, grammar: WordAutomaton, noise: Samples) -> Ahead | None:
        """Begin to listen for the further opinion, where there is one: the utterance may have ended."""

    def weigh(
        self,
        samples: Samples,
        heard: tuple[Hypothesis, ...],
        grammar: WordAutomaton,
        noise: Samples,
        ahead: Ahead | None = None,
    ) -> tuple[tuple[Hypothesis, ...], GeneralJudgement | None]:
        """Return the alternatives with a further opinion on them, where there is one who can give it."""


@dataclass(frozen=True, eq=False)
class Utterance:
    """What one person said in one go.

    `started_ms` is the time of the first of the `samples` (int16, 16 kHz), to which the words' own times
    are added; `ended_ms` the time at which the voice fell silent; both on the source's clock.
    `fragment` holds the words when they are only the beginning of a sentence; the alternatives then say
    `[unk]`. Levels are in dB of full scale, the speech without the noise. `latency_ms` runs from the end
    of the voice to this object, and means something for sound that came in real time.
    """

    alternatives: tuple[Hypothesis, ...]
    fragment: tuple[str, ...]
    started_ms: int
    ended_ms: int
    during_speech: bool
    overflow: bool
    clipped: bool
    noise_db: float
    speech_db: float
    latency_ms: int
    samples: Samples
    judgement: GeneralJudgement | None = None
    """What the general recogniser made of it, where it was asked."""

    @property
    def above_noise_db(self) -> Decimal | None:
        """How far the speech stood above the noise, in whole dB; None where the noise was not measured."""
        return None if self.noise_db == UNMEASURED_DB else Decimal(round(self.speech_db - self.noise_db))


class UtteranceInProgress:
    """The utterance in progress."""

    def __init__(
        self,
        recogniser: UtteranceRecogniser,
        grammar: WordAutomaton,
        begin: tuple[SoundBlock, ...],
        activity: Activity | None,
        noise: Samples | None = None,
    ) -> None:
        self._recogniser, self.grammar, self._noise = recogniser, grammar, noise
        self._blocks = list(begin)
        self._noise_db = activity.noise_db if activity else UNMEASURED_DB
        self._powers: list[float] = []
        self._failed = self._next_trial = 0
        self._ahead: Ahead | None = None
        self._dropped = self._next_ahead = 0
        self._last_voiced = begin[-1]
        self._fed = 0
        self.words: tuple[str, ...] = ()
        """The running guess."""
        self._words_since_ms = begin[-1].start_ms

    @property
    def length_ms(self) -> int:
        """How long it has been going on."""
        return len(self._blocks) * BLOCK_MS

    @property
    def blocks(self) -> Sequence[SoundBlock]:
        """All of its sound so far."""
        return self._blocks

    @property
    def until_silence(self) -> Sequence[SoundBlock]:
        """Its sound without the silence at its end, but for a little."""
        silent = (self._blocks[-1].start_ms - self._last_voiced.start_ms - AFTER_MS) // BLOCK_MS
        return self._blocks[: len(self._blocks) - max(0, silent)]

    @property
    def standing_ms(self) -> int:
        """For how long the running guess has been the same complete sentence."""
        if not complete(self.words, self.grammar):
            return 0
        return self._blocks[-1].start_ms - self._words_since_ms

    @property
    def worth_another_trial(self) -> bool:
        """Whether it has grown enough since the last trial that failed."""
        return self._failed < FREE_TRIALS or len(self._blocks) >= self._next_trial

    @property
    def speech_db(self) -> float:
        """Level of the voiced blocks, the noise taken off."""
        noise = 10 ** (self._noise_db / 10)
        return decibels(max(sum(self._powers) / max(1, len(self._powers)) - noise, noise / 10))

    @property
    def above_noise_db(self) -> float:
        """How far the speech stands above the noise."""
        return self.speech_db - self._noise_db

    def take(self, block: SoundBlock, activity: Activity) -> None:
        """Add a block, and feed the recogniser in tenths of a second."""
        self._blocks.append(block)
        if activity.silence_ms == 0:
            self.drop()
            self._last_voiced = block
            self._powers.append(10 ** (activity.level_db / 10))
        if len(self._blocks) - self._fed >= FEED_BLOCKS:
            self._feed()
            words = self._recogniser.partial()
            if words != self.words:
                self.words, self._words_since_ms = words, block.start_ms
        if self._noise is not None and self._ahead is None and self._may_have_ended(activity.silence_ms):
            self._ahead = self._recogniser.ahead(self._samples(), self.grammar, self._noise)

    def drop(self) -> None:
        """Take back what was listened to ahead: it goes on, or nobody asks any more."""
        if self._ahead is not None:
            self._ahead.drop()
            self._ahead = None
            self._dropped += 1
            self._next_ahead = round(GROWN * len(self._blocks))

    def _may_have_ended(self, silence_ms: int) -> bool:
        """Say whether it pays to listen ahead now; after some vain beginnings only when there is much more."""
        if silence_ms < AHEAD_MS or (self._dropped >= FREE_TRIALS and len(self._blocks) < self._next_ahead):
            return False
        return silence_ms >= silence_due(self.words, self.grammar, self.above_noise_db) - LEAD_MS

    def _samples(self) -> Samples:
        return np.concatenate([block.samples for block in self._blocks])

    def trial(self) -> tuple[Hypothesis, ...]:
        """Ask for the final word on all sound so far."""
        self._feed()
        return self._recogniser.finish()

    def go_on(self) -> None:
        """Take back a trial: begin again with the same sound."""
        self._failed += 1
        self._next_trial = round(GROWN * len(self._blocks))
        self._recogniser.listen_for(unfinished_too(self.grammar))
        self._fed = 0
        self._feed()
        self._words_since_ms = self._blocks[-1].start_ms

    def utterance(
        self, alternatives: tuple[Hypothesis, ...], *, during_speech: bool, clock: Callable[[], float]
    ) -> Utterance:
        """Close it; where the noise before it was told, the further opinion is asked for."""
        words = best_words(alternatives)
        whole = whole_sentences(alternatives, self.grammar)
        samples = self._samples()
        fragment = words if words != best_words(whole) else ()
        judgement = None
        if self._noise is not None:
            whole, judgement = self._recogniser.weigh(samples, whole, self.grammar, self._noise, self._ahead)
        return Utterance(
            alternatives=whole,
            fragment=fragment,
            started_ms=self._blocks[0].start_ms,
            ended_ms=self._last_voiced.start_ms + BLOCK_MS,
            during_speech=during_speech,
            overflow=any(block.overflow for block in self._blocks),
            clipped=is_clipped(samples),
            noise_db=round(self._noise_db, 1),
            speech_db=round(self.speech_db, 1),
            latency_ms=round((clock() - self._last_voiced.arrived) * 1000),
            samples=samples,
            judgement=judgement,
        )

    def _feed(self) -> None:
        fresh = self._blocks[self._fed :]
        self._fed = len(self._blocks)
        if fresh:
            self._recogniser.feed(np.concatenate([block.samples for block in fresh]).tobytes())


def is_clipped(samples: Samples) -> bool:
    """Say whether the sound was cut at full scale: three samples in a row there, as no free wave stays."""
    full = np.abs(samples.astype(np.int32)) >= FULL_SCALE
    runs = full[2:] & full[1:-1] & full[:-2]
    return bool(runs.any())
