"""A procedure's phrases spoken by the voice and heard by the recogniser, each at the question that accepts it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from handsfree.hearing.recogniser import SAMPLE_RATE, Recogniser
from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.distance import phrase_distance
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.hearing import hearing_of, own_phrases
from handsfree.shipped import model_folder
from handsfree.speaking.voice import Voice, VoiceSettings

RATES = (150, 190)
"""Words a minute at which each phrase is said."""


@dataclass(frozen=True)
class HeardAloud:
    """One phrase as it was said and what was heard instead, when it was not itself."""

    gate: str
    said: str
    heard: str
    meant: bool
    """Whether what was heard means the same."""
    apart: float | None
    """How many phones apart the two are; None when one of them cannot be said."""

    @property
    def refused(self) -> bool:
        """Whether it was heard as none of the phrases: then the visit asks again."""
        return not self.meant and self.heard in {"", UNKNOWN_WORD}

    @property
    def misheard(self) -> bool:
        """Whether it was taken for a phrase that means something else."""
        return not self.meant and not self.refused


def heard_aloud(
    procedure: Procedure, catalogue: Catalogue, *, noise_db: float | None = None, seed: int = 1
) -> Iterator[HeardAloud]:
    """Yield each own phrase of each gate as heard among all that is accepted there.

    With `noise_db` white noise is added at that ratio of signal to noise. A phrase at the same grammar is heard
    once. Raises Problem when there is no voice or no model.
    """
    words = hearing_of(procedure, catalogue)
    recogniser = Recogniser(model_folder(), words.pronunciations)
    voices = [Voice(VoiceSettings(catalogue.voice, rate)) for rate in RATES]
    dice = np.random.default_rng(seed)
    done: set[tuple[str, str]] = set()
    try:
        for at in words.grammars:
            placed, grammar, own = at.placed, at.grammar, own_phrases(procedure, at.placed)
            for text in (text for text in at.fixed if text in own):
                key = (grammar.automaton.identity, text)
                if key in done:
                    continue
                done.add(key)
                for voice in voices:
                    heard = _heard(recogniser, voice, grammar, text, dice, noise_db)
                    meant = grammar.read(heard.split()) == grammar.read(text.split()) and heard != ""
                    yield HeardAloud(placed.id, text, heard, meant, _apart(text, heard, words.pronunciations))
    finally:
        for voice in voices:
            voice.close()


def _heard(  # noqa: PLR0917 - the parts of one hearing
    recogniser: Recogniser,
    voice: Voice,
    grammar: Grammar,
    text: str,
    dice: np.random.Generator,
    noise_db: float | None,
) -> str:
    sound = voice.render(text)
    if sound is None:
        raise Problem(voice.notice or "there is no voice", remedy="see `handsfree soundcheck`")
    quiet = np.zeros(SAMPLE_RATE // 3)
    wave = np.concatenate([quiet, sound.at_rate(SAMPLE_RATE).samples.astype(float), quiet])
    level = float(np.sqrt(np.mean(wave**2)))
    noise = 2.0 if noise_db is None else level / 10 ** (noise_db / 20)
    wave += dice.normal(0, noise, len(wave))
    found = recogniser.recognise(np.clip(wave, -32768, 32767).astype("<i2").tobytes(), grammar.automaton)
    return " ".join(found[0].text) if found else ""


def _apart(text: str, heard: str, pronunciations: Pronunciations) -> float | None:
    if not heard or pronunciations.unknown(heard.split()):
        return None
    return phrase_distance(text.split(), heard.split(), pronunciations)


def summary(hearings: Sequence[HeardAloud]) -> list[str]:
    """Return the mis-heard phrases and the count, as lines."""
    lines = []
    for hearing in hearings:
        if hearing.misheard:
            apart = "" if hearing.apart is None else f" ({hearing.apart:.2f} phones apart)"
            lines.append(f'MISHEARD at {hearing.gate}: "{hearing.said}" as "{hearing.heard}"{apart}')
        elif hearing.refused:
            lines.append(f'not understood at {hearing.gate}: "{hearing.said}"')
    right, wrong = sum(h.meant for h in hearings), sum(h.misheard for h in hearings)
    counts = (
        f"{right} of {len(hearings)} heard as meant, {wrong} misheard, {len(hearings) - right - wrong} refused"
    )
    return [*lines, f"{counts} ({len(RATES)} speeds, one voice)"]
