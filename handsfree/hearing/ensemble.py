"""An ensemble: several recognisers hear one utterance, and the mean of their scores counts.

One network mishears a voice that two, or the same one told another tempo, hear right; and where they differ,
nobody should be sure. So an utterance is heard by every member that the model's settings name, and a sentence's
score is the mean of its scores.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import vosk

from handsfree.hearing.resampling import RATE

_MOST_SENTENCES: Final = 20
_UNHEARD: Final = 10.0
"""How far behind its best sentence a member puts one that it does not list; its list reaches about 8."""

_NO_LATTICE: Final = [{"confidence": 1.0, "text": ""}]
"""What the library returns then; silence that was heard has a likelihood of its own."""

Scored = Mapping[str, Any]
"""A sentence as the library tells it: `confidence`, a log-likelihood; `result`, its words and their times, s."""


class EnsembleMember:
    """What one network makes of sound that it takes to have `rate` samples a second.

    `phrases`, in JSON, are for a model without a grammar of its own.
    """

    def __init__(self, model: Any, rate: int = RATE, phrases: str | None = None) -> None:
        self._stretched = rate / RATE
        self._native = vosk.KaldiRecognizer(model, rate, *([] if phrases is None else [phrases]))
        self._native.SetMaxAlternatives(_MOST_SENTENCES)
        self._native.SetWords(True)

    def feed(self, pcm: bytes) -> None:
        """Take int16 sound."""
        self._native.AcceptWaveform(pcm)

    def partial(self) -> tuple[str, ...]:
        """Return the words as they look now."""
        return tuple(json.loads(self._native.PartialResult())["partial"].split())

    def finish(self) -> Sequence[Scored]:
        """End the utterance; return its sentences, best first, with times in true seconds.

        Nothing where the library has no lattice: nothing was fed, or its bound left nothing.
        """
        found = json.loads(self._native.FinalResult())["alternatives"]
        if found == _NO_LATTICE:
            return []
        return [
            {
                "confidence": float(sentence["confidence"]),
                "result": [
                    {**word, "start": word["start"] * self._stretched, "end": word["end"] * self._stretched}
                    for word in sentence.get("result", ())
                ],
            }
            for sentence in found
        ]


def mean_of(members: Sequence[Sequence[Scored]]) -> Sequence[Scored]:
    """Return the sentences of all members with the mean of their scores, best first.

    The times of words are those of the first member that lists the sentence. Who has nothing at all is left out.
    """
    members = [heard for heard in members if heard]
    sentences: dict[tuple[str, ...], dict[int, Scored]] = {}
    for number, heard in enumerate(members):
        for sentence in heard:
            words = tuple(word["word"] for word in sentence["result"])
            sentences.setdefault(words, {}).setdefault(number, sentence)
    unheard = [max((one["confidence"] for one in heard), default=0.0) - _UNHEARD for heard in members]
    merged = [
        {
            "confidence": sum(
                by[number]["confidence"] if number in by else score for number, score in enumerate(unheard)
            )
            / len(members),
            "result": next(iter(by.values()))["result"],
        }
        for by in sentences.values()
    ]
    return sorted(merged, key=lambda sentence: -sentence["confidence"])[:_MOST_SENTENCES]
