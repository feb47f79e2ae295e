"""A procedure's phrases spoken by several voices in burner noise, and heard back where they are accepted."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from handsfree.commands.trial_recogniser import TrialRecogniser, at_question, example_plan
from handsfree.demo.play import AFTER_S, BEFORE_S
from handsfree.demo.sound import RATE, Samples, burner_roar, in_the_closet
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.lexicon.distance import phrase_distance
from handsfree.lexicon.grammar import Grammar, PhraseRule
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.lexicon.proposing import proposed
from handsfree.problem import Problem
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.hearing import (
    LEAST_DISTANCE,
    QuestionWords,
    fixed_phrases,
    hearing_of,
    own_phrases,
)
from handsfree.shipped import model_folder
from handsfree.speaking.voice import Voice, VoiceSettings

VOICES: Final = (
    ("en-us", 150), ("en-us+f3", 165), ("en-us+m7", 180), ("en-gb-x-rp", 165), ("en-gb-scotland", 150),
)  # fmt: skip
"""Voices of the speech engine and words a minute; those that a machine lacks are left out."""
NOISES_DB: Final = (20, 10)
"""Speech over burner noise."""
WEAK: Final = 0.9
"""Below this share a phrase is weak, and others are tried: common practice, no source."""
MOST_TRIED = 4
_SMALL_WORDS: Final = frozenset({"and", "for", "off", "please", "say", "the", "then", "with", "you", "your"})


@dataclass(frozen=True)
class TriedPhrase:
    """What a visit makes of one phrase: how many times it is heard as meant, at once or by asking."""

    gate: str
    said: str
    right: Mapping[int, int]
    """By noise in dB."""
    of: int
    """Hearings at each noise."""
    asked: int = 0
    """Of those that were heard as meant."""
    taken_for: Mapping[str, int] = field(default_factory=dict)
    better: tuple[TriedPhrase, ...] = ()
    """Other phrases for the same that were heard more often."""

    @property
    def share(self) -> float:
        """The share of all its hearings that were right."""
        return sum(self.right.values()) / (self.of * len(self.right))

    def line(self) -> str:
        """Return it in a line."""
        shares = ", ".join(f"{100 * right / self.of:.0f} % at {noise} dB" for noise, right in self.right.items())
        asked = f", asked first {self.asked} times" if self.asked else ""
        return f'{shares}: "{self.said}"{asked}'


def proposals(procedure: Procedure) -> dict[str, tuple[str, ...]]:
    """Return each word that is listened for and has no pronunciation, with those proposed for it."""
    words = hearing_of(procedure, procedure.catalogue)
    phrases = {text for at in words.grammars for text in at.fixed}
    unknown = words.pronunciations.unknown(word for text in phrases for word in text.split())
    return {word: proposed(word, words.pronunciations) for word in unknown}


def with_proposed(procedure: Procedure) -> Procedure:
    """Return the procedure with the likeliest pronunciation of each word that lacks one."""
    likely = {word: ways[0] for word, ways in proposals(procedure).items() if ways}
    return replace(procedure, words={**procedure.words, **likely})


class WordTrial:
    """Voices, noise and the recogniser of a visit for one procedure; `close` ends the voices' processes.

    `general` is for the third opinion. Raises Problem when there is no voice or no model.
    """

    def __init__(
        self, procedure: Procedure, general: GeneralPlan | None = None, voices: Sequence[tuple[str, int]] = VOICES
    ) -> None:
        self._procedure, self._plan = procedure, example_plan(procedure)
        self._words = hearing_of(procedure, procedure.catalogue)
        self._recogniser = TrialRecogniser(
            model_folder(), self._words.pronunciations, procedure.catalogue, general
        )
        every = [Voice(VoiceSettings(name, rate)) for name, rate in voices]
        self.voices = [voice for voice in every if voice.render("ready") is not None]
        if not self.voices:
            raise Problem(every[0].notice or "there is no voice", remedy="see `handsfree soundcheck`")
        self._roar = burner_roar(20.0, seed=7)

    def close(self) -> None:
        """End the voices."""
        for voice in self.voices:
            voice.close()

    def phrases(self) -> Iterator[TriedPhrase]:
        """Yield each phrase that the author wrote, tried at the first question that accepts it."""
        done: set[tuple[str, str]] = set()
        for at in self._words.grammars:
            for text in own_phrases(self._procedure, at.placed):
                if text in at.fixed and (at.placed.id, text) not in done:
                    done.add((at.placed.id, text))
                    yield self._tried(at, text)

    def _tried(self, at: QuestionWords, text: str) -> TriedPhrase:
        placed, grammar = at.placed, at.grammar
        found = self._heard(at, text, grammar)
        if found.share >= WEAK:
            return found
        others = alternatives(self._procedure, placed, text, grammar, self._words.pronunciations)
        tried = [self._heard(at, other, _instead(grammar, text, other)) for other in others]
        better = sorted((one for one in tried if one.share > found.share), key=lambda one: -one.share)
        return replace(found, better=tuple(better[:3]))

    def _heard(self, at: QuestionWords, text: str, grammar: Grammar) -> TriedPhrase:
        right, asked = dict.fromkeys(NOISES_DB, 0), 0
        taken_for: Counter[str] = Counter()
        meant = grammar.read(text.split())
        chooses = at_question(self._plan, at.placed.id, at.question, grammar)
        for number, voice in enumerate(self.voices):
            for noise in NOISES_DB:
                heard = self._recogniser.first(self._said(voice, text, noise, number), grammar, chooses)
                if heard.meaning in meant:
                    right[noise] += 1
                    asked += heard.does == "asked"
                elif heard.meaning is not None:
                    taken_for[heard.text] += 1
        return TriedPhrase(at.placed.id, text, right, len(self.voices), asked, dict(taken_for))

    def _said(self, voice: Voice, text: str, noise_db: int, number: int) -> Samples:
        sound = voice.render(text)
        if sound is None:
            raise Problem(voice.notice or "there is no voice", remedy="see `handsfree soundcheck`")
        roar = np.roll(self._roar, 7919 * number)  # another stretch for each voice
        return in_the_closet(sound.at_rate(RATE).samples, roar, noise_db, BEFORE_S, AFTER_S)


def _instead(grammar: Grammar, text: str, other: str) -> Grammar:
    """Return a grammar that takes another phrase in place of one."""
    rules = [
        replace(rule, meanings={other if said == text else said: means for said, means in rule.meanings.items()})
        if isinstance(rule, PhraseRule)
        else rule
        for rule in grammar.rules
    ]
    return Grammar(tuple(rules))


def alternatives(
    procedure: Procedure, placed: PlacedGate, text: str, grammar: Grammar, known: Pronunciations
) -> list[str]:
    """Return longer phrases for the same, from what the gate speaks of, the most unlike all others first.

    Each can be pronounced and is far enough from every phrase of another meaning.
    """
    fixed = fixed_phrases(grammar)
    meant = fixed.get(text, ())
    others = [said for said, meanings in fixed.items() if meanings != meant]
    apart: dict[str, float] = {}
    for phrase in _longer(procedure, placed, text):
        words = phrase.split()
        if phrase in fixed or len(words) > 4 or known.unknown(words):
            continue
        near = min(
            (phrase_distance(words, one.split(), known) for one in others if not known.unknown(one.split())),
            default=LEAST_DISTANCE,
        )
        if near >= LEAST_DISTANCE:
            apart[phrase] = near
    return sorted(apart, key=lambda phrase: -apart[phrase])[:MOST_TRIED]


def _longer(procedure: Procedure, placed: PlacedGate, text: str) -> Iterator[str]:
    effects = placed.gate.effects
    for name in (*effects.alters, *effects.restores, *placed.gate.needs):
        yield f"{procedure.things[name].said.lower()} {text}"
    if own_phrases(procedure, placed)[text][0] == "things":
        return  # the word for a state says nothing of the gate
    spoken = f"{placed.gate.texts.get('prompt', '')} {placed.gate.title}".lower()
    for word in dict.fromkeys(re.findall(r"[a-z]{3,}", spoken)):
        if word not in text.split() and word not in _SMALL_WORDS:
            yield f"{word} {text}"
            yield f"{text} {word}"
