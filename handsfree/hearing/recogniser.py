"""Sound in, words out: the native recogniser behind a small typed face.

It listens for one grammar at a time. Our own models get a strict graph of it; any other English model in
Vosk layout gets a phrase list, and what it then hears outside the grammar counts as unknown speech.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import vosk

from handsfree.hearing.alternatives import Alternative, SpokenWord, from_scored
from handsfree.hearing.grammars import SAMPLE_RATE, Grammars, PhraseGrammars, StrictGrammars
from handsfree.hearing.model_folder import ModelFolder
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations

__all__ = ["SAMPLE_RATE", "Alternative", "Recogniser", "SpokenWord"]

_BLOCK_BYTES = SAMPLE_RATE // 5 * 2  # a fifth of a second


class Recogniser:
    """Hears what a grammar allows. Not for use by two threads at once.

    `feed` sound as it comes, look at `partial`, and call `finish` when the speech has ended; the next
    `feed` starts a new utterance. Raises `Problem` when the model folder cannot be used, and from
    `listen_for` when a word of the grammar cannot be heard by this model.
    """

    def __init__(self, model_folder: Path, pronunciations: Pronunciations | None = None) -> None:
        vosk.SetLogLevel(-1)
        self.folder = ModelFolder.check(model_folder)
        units = self.folder.units
        self._grammars: Grammars = (
            PhraseGrammars(self.folder)
            if units is None
            else StrictGrammars(self.folder, units, pronunciations or Pronunciations())
        )
        self._automaton: WordAutomaton | None = None
        self._native: Any = None
        self.best_score: float | None = None
        """The log-likelihood of the best path of the last utterance, for tuning."""

    def listen_for(self, automaton: WordAutomaton) -> None:
        """Take up a grammar; sound that was fed and not finished is forgotten."""
        self._native = self._grammars.recogniser(automaton)
        self._automaton = automaton

    def feed(self, pcm: bytes) -> None:
        """Take sound: 16 kHz, one channel, 16 bits, an even number of bytes."""
        assert self._native is not None, "listen_for comes first"
        self._native.AcceptWaveform(pcm)

    def partial(self) -> tuple[str, ...]:
        """Return the words as they look now; they may still change."""
        assert self._native is not None, "listen_for comes first"
        return tuple(json.loads(self._native.PartialResult())["partial"].split())

    def finish(self) -> tuple[Alternative, ...]:
        """End the utterance: what was heard, best first; nothing when it was silence."""
        assert self._native is not None, "listen_for comes first"
        assert self._automaton is not None
        heard = json.loads(self._native.FinalResult())["alternatives"]
        self.best_score = max((float(entry["confidence"]) for entry in heard), default=None)
        return from_scored(heard, self._automaton, self._grammars.judgement, self._grammars.phones_in)

    def recognise(self, pcm: bytes, automaton: WordAutomaton) -> tuple[Alternative, ...]:
        """Hear a whole utterance at once."""
        self.listen_for(automaton)
        for begin in range(0, len(pcm), _BLOCK_BYTES):
            self.feed(pcm[begin : begin + _BLOCK_BYTES])
        return self.finish()
