"""From the end of speech to the finished utterance, in real time, by noise and by kind of phrase.

Phrases rendered by two voices, and single digits of people whom the model never heard, are laid into
calculated burner noise and fed, paced in real time, to the hearing process under the grammars of the shipped
procedure or, for single digits, of a digit. Goal: median within 500 ms, 95 % within 800 ms, 300 ms where the
grammar says that the reading is complete; stop phrases within 600 ms.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass

import numpy as np

from handsfree.hearing.listener import Utterance
from handsfree.hearing.sources import Recording
from handsfree.hearing.worker import Hearing, HearingPlan, SourceEnded, recogniser_of
from handsfree.lexicon.automaton import WordAutomaton, choice, optional, phrase, phrases, sequence
from handsfree.procedure.languages import english
from handsfree.questions.grammar import stop_grammar
from tests.bench.live import material
from tests.bench.live.figures import Figure, Share, Spread
from tests.bench.live.scale import MODEL, Scale

RATIOS_DB = (30, 20, 10, 5)
VOICES = ("en-us", "en-us+f3")
DIGITS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "zero")
KINDS = {
    "complete": ["nine point three", "four point eight", "eight point six", "confirmed", "no", "repeat"],
    "could go on": ["one hundred", "two hundred", "three hundred"],
    "stop": ["stop work", "i smell gas", "the burner is out"],
}
GRAMMAR = choice(
    sequence(phrases(DIGITS), phrase("point"), phrases(DIGITS)),
    sequence(phrases(DIGITS), phrase("hundred"), optional(sequence(phrase("and"), phrases(DIGITS)))),
    phrases(["confirmed", "no", "repeat"]),
    phrases(sorted({text for hazard in english().hazards.values() for text in hazard.heard})),
).automaton()
SPOKEN_DIGITS = ("one", "five", "eight", "zero")
CLIPS = 6
"""People's clips of each digit."""
PAUSE_S = 2.0


@dataclass(frozen=True)
class Expected:
    """A phrase in a long sound: where it begins and ends, in ms."""

    kind: str
    text: str
    begin_ms: float
    end_ms: float


def figures(scale: Scale) -> Iterator[Figure]:
    """Measure at each ratio."""
    voices = [
        (kind, text, wave)
        for kind, texts in KINDS.items()
        for name in VOICES[: scale.many(len(VOICES))]
        for text, wave in zip(texts, material.rendered(name, texts), strict=True)
    ]
    people = []
    if material.SPEECH.is_dir():
        people = [
            ("a person's digit", word, wave)
            for word in SPOKEN_DIGITS
            for wave in material.single_digits(word, scale.many(CLIPS))
        ]
    for ratio_db in RATIOS_DB[:: 3 if scale.quick else 1]:
        yield from _measured(f"{ratio_db} dB", voices, GRAMMAR, ratio_db)
        if people:
            yield from _measured(f"{ratio_db} dB", people, phrases(DIGITS).automaton(), ratio_db)


def _measured(
    title: str, clips: list[tuple[str, str, np.ndarray]], grammar: WordAutomaton, ratio_db: float
) -> Iterator[Figure]:
    samples, expected = _laid_out(clips, ratio_db)
    told = _told(samples, grammar)
    for kind in dict.fromkeys(one.kind for one in expected):
        ones = [one for one in expected if one.kind == kind]
        found = [next((each for each in told if _is(one, each[0])), None) for one in ones]
        pairs = [(one, each) for one, each in zip(ones, found, strict=True) if each is not None]
        right = sum(" ".join(each[0].alternatives[0].text) == one.text for one, each in pairs)
        yield Figure(f"{title}, {kind}: heard right", Share(right, len(ones)))
        yield Figure(
            f"{title}, {kind}: end of speech to decision", Spread.of((a[1] - o.end_ms for o, a in pairs), "ms")
        )


def _laid_out(clips: list[tuple[str, str, np.ndarray]], ratio_db: float) -> tuple[np.ndarray, list[Expected]]:
    pieces, expected, at = [np.zeros(3 * material.RATE)], [], 3 * material.RATE
    for kind, text, wave in clips:
        expected.append(Expected(kind, text, at / 16, (at + material.speech_end(wave)) / 16))
        pieces += [wave, np.zeros(round(PAUSE_S * material.RATE))]
        at += len(wave) + round(PAUSE_S * material.RATE)
    return material.mixed(np.concatenate(pieces), ratio_db), expected


def _told(samples: np.ndarray, grammar: WordAutomaton) -> list[tuple[Utterance, float]]:
    """Return each utterance with the time (ms of the sound) at which it was known in the hearing process."""
    plan = HearingPlan(
        Recording(samples, paced=True),
        functools.partial(recogniser_of, MODEL),
        stop_grammar(english()).automaton,
    )
    with closing(Hearing(plan)) as hearing:
        hearing.listen_for(grammar)
        found = []
        while not isinstance(event := hearing.next_event(60), SourceEnded):
            if isinstance(event, Utterance):
                found.append((event, event.ended_ms + event.latency_ms))
        return found


def _is(one: Expected, event: Utterance) -> bool:
    return event.started_ms < one.end_ms and event.ended_ms > one.begin_ms
