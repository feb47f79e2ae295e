"""Is the sound good enough to be led by voice: noise, speech, their ratio, clipping, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from handsfree.hearing.sources import BLOCK_MS, SoundBlock
from handsfree.hearing.utterance import is_clipped
from handsfree.hearing.voice_activity import Activity, VoiceActivity, VoiceState, decibels

GOOD_DB, POOR_DB, REFUSED_DB = 15.0, 10.0, 5.0
"""Speech above noise: from the first on, well; below the second, with errors; below the third, not by voice.

Common practice, no source, except the last: below about 5 dB the recogniser's errors outgrow what a second
question can mend (see the figures in DEVELOPERS.md).
"""
QUIET_SPEECH_DB, LOUD_SPEECH_DB = -45.0, -9.0
"""Below the first the sound card's own noise comes near; above the second, a raised voice clips."""
DEAD_DB = -85.0
"""No microphone in the air is so quiet: it is switched off, or not the one meant."""
SHORTEST_SPEECH_MS = 300
LEAST_ABOVE_NOISE = 1.25
"""Speech and noise together against noise alone, as powers: 1 dB."""


@dataclass(frozen=True)
class SoundLevels:
    """What a check heard, in dB of full scale; no speech leaves `speech_db` and `above_noise_db` None."""

    noise_db: float
    speech_db: float | None
    above_noise_db: float | None
    clipped: bool
    overflows: int
    seconds: float

    @property
    def usable(self) -> bool:
        """Whether a visit can be led by voice in this sound."""
        return self.above_noise_db is not None and self.above_noise_db >= REFUSED_DB and not self.overflows


def measure(blocks: Iterable[SoundBlock]) -> SoundLevels:
    """Measure some seconds of sound in which somebody first keeps quiet and then speaks.

    The noise is the median of the blocks without voice, the speech the mean power of those with voice,
    the noise taken off.
    """
    activity = VoiceActivity()
    kept: list[SoundBlock] = []
    seen: list[Activity] = []
    for block in blocks:
        kept.append(block)
        seen.append(activity.follow(block.samples))
    spoken = _spoken(seen)
    levels = np.array([each.level_db for each in seen])
    quiet = levels[~spoken] if not spoken.all() else levels
    noise_db = float(np.median(quiet)) if len(quiet) else -90.0
    speech_db = None
    if spoken.sum() * BLOCK_MS >= SHORTEST_SPEECH_MS:
        noise = 10 ** (noise_db / 10)
        power = float(np.mean(10 ** (levels[spoken] / 10)))
        if power > LEAST_ABOVE_NOISE * noise:  # less is the noise's own swell
            speech_db = decibels(power - noise)
    samples = np.concatenate([block.samples for block in kept]) if kept else np.zeros(0, np.int16)
    return SoundLevels(
        noise_db=round(noise_db, 1),
        speech_db=None if speech_db is None else round(speech_db, 1),
        above_noise_db=None if speech_db is None else round(speech_db - noise_db, 1),
        clipped=is_clipped(samples),
        overflows=sum(block.overflow for block in kept),
        seconds=len(kept) * BLOCK_MS / 1000,
    )


def _spoken(seen: list[Activity]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Mark the blocks with voice; the first second is for learning the noise, so it counts as quiet."""
    learning = 1000 // BLOCK_MS
    return np.array(
        [
            number >= learning and each.state is VoiceState.SPEAKING and each.silence_ms == 0
            for number, each in enumerate(seen)
        ],
        dtype=np.bool_,
    )


def advice(levels: SoundLevels) -> tuple[str, ...]:
    """Return what to do, the most pressing first, in plain sentences; never empty."""
    said: list[str] = []
    if levels.noise_db <= DEAD_DB and levels.speech_db is None:
        return ("Nothing comes from the microphone. Switch it on, or choose another.",)
    if levels.speech_db is None:
        return ("No speech was heard. Speak toward the microphone, or choose another.",)
    if levels.overflows:
        said.append("Sound was lost on the way. Close other programs.")
    if levels.clipped or levels.speech_db > LOUD_SPEECH_DB:
        said.append("The microphone is too loud. Turn it down, or move it away from the mouth.")
    elif levels.speech_db < QUIET_SPEECH_DB:
        said.append("The microphone is too quiet. Turn it up.")
    ratio = levels.above_noise_db or 0.0
    if ratio < REFUSED_DB:
        said.append("Too noisy to be led by voice. Use a headset with a boom, or answer with the keys.")
    elif ratio < POOR_DB:
        said.append("Noisy. Bring the microphone to the corner of the mouth, or use another headset.")
    elif ratio < GOOD_DB:
        said.append("Some noise. Come closer to the microphone.")
    return tuple(said) or ("The sound is good.",)
