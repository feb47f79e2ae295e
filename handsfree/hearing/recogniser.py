"""Sound in, words out: the native recogniser behind a small typed face.

It listens for one grammar at a time. Our own models get a strict graph of it; any other English model in
Vosk layout gets a phrase list, and what it then hears outside the grammar counts as unknown speech.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import vosk

from handsfree.hearing.alternatives import Hypothesis, SpokenWord, from_scored
from handsfree.hearing.enrolment.voice import EnrolledVoice
from handsfree.hearing.ensemble import EnsembleMember, mean_of
from handsfree.hearing.grammars import SAMPLE_RATE, Grammars, PhraseGrammars, StrictGrammars
from handsfree.hearing.margins import MARGIN_MS, margin, with_faint_noise
from handsfree.hearing.model_folder import ModelFolder
from handsfree.hearing.resampling import Samples
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations

if TYPE_CHECKING:  # without the third opinion none of it is loaded
    from handsfree.hearing.general.ahead import Ahead
    from handsfree.hearing.general.judging import GeneralJudgement
    from handsfree.hearing.general.member import GeneralMember

__all__ = ["SAMPLE_RATE", "Hypothesis", "Recogniser", "SpokenWord"]

_BLOCK_BYTES = SAMPLE_RATE // 5 * 2  # a fifth of a second


class Recogniser:
    """Hears what a grammar allows. Not for use by two threads at once.

    `feed` sound as it comes, look at `partial`, and call `finish` when the speech has ended; the next
    `feed` starts a new utterance. Raises `Problem` when the model folder cannot be used, and from
    `listen_for` when a word of the grammar cannot be heard by this model.
    """

    def __init__(
        self,
        model_folder: Path,
        pronunciations: Pronunciations | None = None,
        general: GeneralMember | None = None,
        voice: EnrolledVoice | None = None,
    ) -> None:
        vosk.SetLogLevel(-1)
        self.folder = ModelFolder.check(model_folder)
        units = self.folder.units
        self._grammars: Grammars = (
            PhraseGrammars(self.folder)
            if units is None
            else StrictGrammars(self.folder, units, pronunciations or Pronunciations())
        )
        self._general, self._voice = general, voice
        self._hearing: HearingOfGrammar | None = None
        self.best_score: float | None = None
        """The log-likelihood of the best path of the last utterance, for tuning."""

    def listen_for(self, automaton: WordAutomaton) -> None:
        """Take up a grammar; sound that was fed and not finished is forgotten."""
        self._hearing = None  # it holds the grammar that may have to make room
        self._hearing = HearingOfGrammar(self._grammars, automaton)

    def feed(self, pcm: bytes) -> None:
        """Take sound: 16 kHz, one channel, 16 bits, an even number of bytes."""
        assert self._hearing, "listen_for comes first"
        self._hearing.feed(pcm)

    def partial(self) -> tuple[str, ...]:
        """Return the words as they look now; they may still change."""
        assert self._hearing, "listen_for comes first"
        return self._hearing.partial()

    def finish(self) -> tuple[Hypothesis, ...]:
        """End the utterance: what was heard, best first; nothing when it was silence."""
        assert self._hearing, "listen_for comes first"
        found = self._hearing.finish()
        self.best_score = self._hearing.best_score
        return found

    def beside(self, automaton: WordAutomaton, *, quick: bool = False) -> HearingOfGrammar:
        """Begin to hear other sound by another grammar; the utterance in progress is left alone.

        `quick` asks the first member alone: it costs a part of what all cost, and is more often mistaken.
        """
        return HearingOfGrammar(self._grammars, automaton, quick=quick)

    def ahead(self, samples: Samples, grammar: WordAutomaton, noise: Samples) -> Ahead | None:
        """Let the general recogniser, where it is there, begin to listen to what may be a whole utterance."""
        scorer = self._general.scorer() if self._general is not None else None
        return None if scorer is None else scorer.ahead(samples, grammar, noise)

    def weigh(
        self,
        samples: Samples,
        heard: tuple[Hypothesis, ...],
        grammar: WordAutomaton,
        noise: Samples,
        ahead: Ahead | None = None,
    ) -> tuple[tuple[Hypothesis, ...], GeneralJudgement | None]:
        """Return the alternatives of an utterance, weighed by the enrolled voice and the general recogniser.

        `samples` are int16 at 16 kHz, as are those of the `noise` before it, which may be empty. `ahead` is what
        was begun for this utterance.
        """
        if self._voice is not None:
            heard = self._voice.weighed(samples, heard, noise)
        scorer = self._general.scorer() if self._general is not None else None
        return (heard, None) if scorer is None else scorer.weigh(samples, heard, grammar, noise, ahead)

    def recognise(self, pcm: bytes, automaton: WordAutomaton) -> tuple[Hypothesis, ...]:
        """Hear a whole utterance at once."""
        self.listen_for(automaton)
        for begin in range(0, len(pcm), _BLOCK_BYTES):
            self.feed(pcm[begin : begin + _BLOCK_BYTES])
        return self.finish()


class HearingOfGrammar:
    """One grammar's members, and what was fed to them since they began or last finished."""

    def __init__(self, grammars: Grammars, automaton: WordAutomaton, *, quick: bool = False) -> None:
        members = grammars.members(automaton)
        self._members: Sequence[EnsembleMember] = members[:1] if quick else members
        self._grammars, self._automaton = grammars, automaton
        self._within = False
        self._margins_ms = self._fed_ms = 0.0
        self.best_score: float | None = None

    def feed(self, pcm: bytes) -> None:
        """Take sound."""
        if not self._within:
            self._within = True
            self._margin()
        self._fed_ms += len(pcm) * 1000 / (2 * SAMPLE_RATE)
        self._feed(with_faint_noise(pcm))

    def partial(self) -> tuple[str, ...]:
        """Return the words as they look now."""
        return self._members[0].partial()

    def finish(self) -> tuple[Hypothesis, ...]:
        """End it: what was heard, best first; nothing when it was silence."""
        before_ms = self._margins_ms
        if self._within:
            self._margin()
        self._within = False
        heard = mean_of([member.finish() for member in self._members])
        self.best_score = max((sentence["confidence"] for sentence in heard), default=None)
        found = from_scored(heard, self._automaton, self._grammars.judgement, self._grammars.phones_in)
        return tuple(
            replace(one, words=tuple(_placed(word, before_ms, self._fed_ms) for word in one.words))
            for one in found
        )

    def _margin(self) -> None:
        self._feed(margin())
        self._margins_ms += MARGIN_MS

    def _feed(self, pcm: bytes) -> None:
        for member in self._members:
            member.feed(pcm)


def _placed(word: SpokenWord, margins_ms: float, fed_ms: float) -> SpokenWord:
    """Return a word at its time in the sound that was fed: without the margins before it and behind."""
    start, end = (round(min(max(0, at - margins_ms), fed_ms)) for at in (word.start_ms, word.end_ms))
    return replace(word, start_ms=start, end_ms=end)
