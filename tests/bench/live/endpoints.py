"""Where utterances are found to begin and end, in noise.

Clips of AN4's training part (never its test part) are laid into noise at set ratios of the loud speech's power
to the noise's. An ordinary pause of 0.6 s ends an utterance here; the grammar's shorter and longer pauses are
measured by the part `latency`.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import cycle, islice

import numpy as np

from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundFile
from handsfree.hearing.voice_activity import VoiceActivity, VoiceState
from tests.bench.live import material
from tests.bench.live.figures import AnHour, Figure, Note, Share, Spread
from tests.bench.live.scale import Scale

LEAD_S, TAIL_S = 4.0, 3.0
LEARNED = 60
"""Blocks after which the noise has been learned: what is found before is not counted as false."""
PAUSE_MS = 600
CLIPS = 40
RATIOS_DB = (30, 20, 10, 5, 0)
NOISES = {
    "steady (burner, fan: calculated)": "boiler*",
    "rooms": "room-*",
    "unsteady (talk, wind, traffic)": "[cfwt]*",
}


def figures(scale: Scale) -> Iterator[Figure]:
    """Measure in each kind of noise at each ratio."""
    if not material.SPEECH.is_dir():
        yield Figure("not measured", Note("the recordings of ../shared/speech are not here"))
        return
    chance = random.Random(7)
    files = chance.sample(sorted((material.SPEECH / "an4" / "train").glob("*.flac")), scale.many(CLIPS))
    clips = [SoundFile(path).samples().astype(float) for path in files]
    for title, pattern in NOISES.items():
        found = [
            SoundFile(path).samples().astype(float) for path in sorted((material.SPEECH / "noise").glob(pattern))
        ]
        noises = list(islice(cycle(each for each in found if len(each) > 5 * material.RATE), len(clips)))
        for ratio_db in RATIOS_DB:
            yield from _measured(f"{title}, {ratio_db} dB", clips, noises, ratio_db, chance)


def spans(samples: np.ndarray) -> list[tuple[int, int]]:
    """Return the first and last active block of each utterance that the pause ended."""
    recogniser, found, begun, last = VoiceActivity(), [], None, 0
    for number, block in enumerate(samples[: len(samples) // BLOCK * BLOCK].reshape(-1, BLOCK)):
        seen = recogniser.follow(block)
        if begun is None and seen.state is VoiceState.SPEAKING:
            begun = number
        if begun is not None:
            last = number if seen.silence_ms == 0 else last
            if seen.silence_ms >= PAUSE_MS:
                found.append((begun, last))
                begun = None
                recogniser.quieten()
    return found


def _measured(
    title: str, clips: list[np.ndarray], noises: list[np.ndarray], ratio_db: float, chance: random.Random
) -> Iterator[Figure]:
    late, ends, missed, cut, false, blocks = [], [], 0, 0, 0, 0
    for clip, noise in zip(clips, noises, strict=True):
        mixed, begin, end = _laid_in(clip, noise, ratio_db, chance)
        found = spans(mixed)
        inside = [span for span in found if span[1] >= begin and span[0] <= end]
        false += sum(span[0] > LEARNED for span in found if span not in inside)
        blocks += len(mixed) // BLOCK - (end - begin) - LEARNED
        missed += not inside
        cut += len(inside) > 1
        if inside:
            late.append((inside[0][0] - begin) * BLOCK_MS)
            ends.append((inside[-1][1] - end) * BLOCK_MS)
    yield Figure(f"{title}: missed", Share(missed, len(clips)))
    yield Figure(f"{title}: cut in two", Share(cut, len(clips)))
    yield Figure(f"{title}: begun late by", Spread.of(late, "ms"))
    yield Figure(f"{title}: ended late by", Spread.of(ends, "ms"))
    yield Figure(f"{title}: false beginnings", AnHour(false, blocks * BLOCK_MS / 3_600_000))


def _laid_in(
    clip: np.ndarray, noise: np.ndarray, ratio_db: float, chance: random.Random
) -> tuple[np.ndarray, int, int]:
    """Return the mixture and the first and last block of the speech in it."""
    power = np.mean(clip[: len(clip) // BLOCK * BLOCK].reshape(-1, BLOCK) ** 2, axis=1)
    loud = np.flatnonzero(power > np.percentile(power, 95) / 630)  # within 28 dB of the loud blocks
    lead = int(LEAD_S * material.RATE) // BLOCK * BLOCK
    whole = np.concatenate([np.zeros(lead), clip, np.zeros(int(TAIL_S * material.RATE))])
    speech = clip[loud[0] * BLOCK : (loud[-1] + 1) * BLOCK]
    whole *= 1600 / np.sqrt(np.mean(speech**2))
    rolled = np.resize(np.roll(noise, chance.randrange(len(noise))), len(whole))
    rolled *= 1600 / np.sqrt(np.mean(rolled**2)) * 10 ** (-ratio_db / 20)
    mixed = np.clip(whole + rolled, -32768, 32767).astype(np.int16)
    return mixed, lead // BLOCK + int(loud[0]), lead // BLOCK + int(loud[-1])
