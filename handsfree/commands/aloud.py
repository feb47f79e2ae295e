"""A procedure's phrases spoken by the voice and heard as a visit hears, each at the question that accepts it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from handsfree.commands.trial_recogniser import Does, TrialRecogniser, at_question
from handsfree.demo.play import AFTER_S, BEFORE_S
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.resampling import RATE, Samples
from handsfree.lexicon.distance import phrase_distance
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem
from handsfree.procedure.proofs.hearing import hearing_of, own_phrases
from handsfree.session.plan import Plan
from handsfree.shipped import model_folder
from handsfree.speaking.voice import Voice, VoiceSettings

RATES = (150, 190)
"""Words a minute at which each phrase is said."""


@dataclass(frozen=True)
class HeardAloud:
    """One phrase as it was said and what a visit makes of it; `heard` are the words that were taken for it."""

    gate: str
    said: str
    heard: str
    does: Does
    meant: bool
    """Whether what was taken means the same."""
    apart: float | None
    """How many phones apart the two are; None when one of them cannot be said."""

    @property
    def refused(self) -> bool:
        """Whether it was taken for nothing: then the visit asks again."""
        return self.does == "not heard"

    @property
    def misheard(self) -> bool:
        """Whether it was taken for a phrase that means something else."""
        return not self.meant and not self.refused


def heard_aloud(
    plan: Plan, general: GeneralPlan | None = None, *, noise_db: float | None = None, seed: int = 1
) -> Iterator[HeardAloud]:
    """Yield each own phrase of each gate as a visit hears it among all that is accepted there.

    `general` is for the third opinion. With `noise_db` white noise is added at that ratio of signal to noise. A
    phrase at the same grammar is heard once. Raises Problem when there is no voice or no model.
    """
    procedure, catalogue = plan.procedure, plan.catalogue
    words = hearing_of(procedure, catalogue)
    recogniser = TrialRecogniser(model_folder(), words.pronunciations, catalogue, general)
    voices = [Voice(VoiceSettings(catalogue.voice, rate)) for rate in RATES]
    dice = np.random.default_rng(seed)
    done: set[tuple[str, str]] = set()
    try:
        for at in words.grammars:
            placed, grammar, own = at.placed, at.grammar, own_phrases(procedure, at.placed)
            chooses = at_question(plan, placed.id, at.question, grammar)
            for text in (text for text in at.fixed if text in own):
                key = (grammar.automaton.identity, text)
                if key in done:
                    continue
                done.add(key)
                for voice in voices:
                    heard = recogniser.first(_said(voice, text, dice, noise_db), grammar, chooses)
                    apart = _apart(text, heard.text, words.pronunciations)
                    meant = heard.meaning in grammar.read(text.split())
                    yield HeardAloud(placed.id, text, heard.text, heard.does, meant, apart)
    finally:
        for voice in voices:
            voice.close()


def _said(voice: Voice, text: str, dice: np.random.Generator, noise_db: float | None) -> Samples:
    """Return a phrase with some of the room before and after it."""
    sound = voice.render(text)
    if sound is None:
        raise Problem(voice.notice or "there is no voice", remedy="see `handsfree soundcheck`")
    spoken = sound.at_rate(RATE).samples.astype(float)
    before, after = (np.zeros(round(seconds * RATE)) for seconds in (BEFORE_S, AFTER_S))
    wave = np.concatenate([before, spoken, after])
    level = float(np.sqrt(np.mean(spoken**2)))
    wave += dice.normal(0, 2.0 if noise_db is None else level / 10 ** (noise_db / 20), len(wave))
    return np.asarray(np.clip(wave, -32768, 32767), np.int16)


def _apart(text: str, heard: str, pronunciations: Pronunciations) -> float | None:
    if not heard or pronunciations.unknown(heard.split()):
        return None
    return phrase_distance(text.split(), heard.split(), pronunciations)


def summary(hearings: Sequence[HeardAloud]) -> list[str]:
    """Return the phrases that were not taken at once as meant, and the counts, as lines."""
    lines = []
    for hearing in hearings:
        if hearing.misheard:
            apart = "" if hearing.apart is None else f" ({hearing.apart:.2f} phones apart)"
            asked = ", and asked" if hearing.does == "asked" else ""
            lines.append(f'MISHEARD at {hearing.gate}: "{hearing.said}" as "{hearing.heard}"{apart}{asked}')
        elif hearing.refused:
            lines.append(f'not heard at {hearing.gate}: "{hearing.said}"')
        elif hearing.does == "asked":
            lines.append(f'asked at {hearing.gate}: "{hearing.said}"')
    right, wrong = sum(h.meant for h in hearings), sum(h.misheard for h in hearings)
    at_once = sum(h.meant and h.does == "taken at once" for h in hearings)
    counts = (
        f"{right} of {len(hearings)} heard as meant, {wrong} misheard, {len(hearings) - right - wrong} refused; "
        f"{at_once} taken at once, {right - at_once} asked first"
    )
    return [*lines, f"{counts} ({len(RATES)} speeds, one voice)"]
