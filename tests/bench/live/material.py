"""What the bench plays: rendered voices, recordings of people kept out of training, and noise."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import closing

import numpy as np

from handsfree.speaking.voice import Voice, VoiceSettings
from models.training import recordings
from models.training.split import Part
from tests.bench.hearing.material import SPEECH
from tests.hearing.sounds import burner_noise, mixed
from tests.live.support.closet import RATE, levelled, speech_end

__all__ = ["RATE", "SPEECH", "burner_noise", "levelled", "mixed", "noise", "other_talk", "rendered", "speech_end"]


def rendered(name: str, texts: list[str]) -> list[np.ndarray]:
    """Return the texts as a voice says them, at 16 kHz and the level of all speech here."""
    with closing(Voice(VoiceSettings(name=name))) as voice:
        sounds = [voice.render(text) for text in texts]
    return [levelled(sound.at_rate(RATE).samples.astype(float)) for sound in sounds if sound is not None]


def single_digits(word: str, most: int) -> Iterator[np.ndarray]:
    """Yield one word of people whom the model never heard; clips cut off at their end are left out."""
    taken = 0
    for one in recordings.commands(SPEECH, Part.FINAL):
        wave = one.samples * 32768.0
        if one.words == (word,) and taken < most and speech_end(wave) < len(wave) - RATE // 5:
            taken += 1
            yield levelled(wave)


def other_talk(seconds: float) -> np.ndarray:
    """Return other people's talk (the part kept for the last test) of that length, a second between two clips."""
    clips = [one.samples * 32768.0 for one in recordings.other_talk(SPEECH, Part.FINAL)]
    random.Random(11).shuffle(clips)
    pieces, length = [np.zeros(3 * RATE)], 3 * RATE
    for clip in clips:
        if length >= seconds * RATE:
            break
        if np.abs(clip).max() > 0:
            pieces += [levelled(clip), np.zeros(RATE)]
            length += len(clip) + RATE
    return np.concatenate(pieces)[: round(seconds * RATE)]


def noise(seconds: float) -> np.ndarray:
    """Return recorded noise that was never trained on, half a minute of each in turn, as loud as the speech."""
    pieces = [one.samples * 32768.0 for one in recordings.noises(SPEECH, Part.FINAL) if len(one.samples) > RATE]
    turned = [np.resize(piece, 30 * RATE) for piece in pieces]
    levels = [piece * (2000 / np.sqrt(np.mean(piece**2))) for piece in turned]
    return np.resize(np.concatenate(levels), round(seconds * RATE))
