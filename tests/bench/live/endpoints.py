"""Where utterances are found to begin and end, in noise: `python tests/bench/live/endpoints.py [--clips N]`.

Clips of AN4's training part (never its test part) are laid into 8 s of noise at set ratios of the whole
clip's speech power to the noise power. Printed per noise level: utterances missed, cut in two (with an
ordinary pause of 0.6 s), begun late, ended late, and false beginnings a minute.
"""

from __future__ import annotations

import argparse
import random
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[3]))

from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundFile
from handsfree.hearing.voice_activity import State, VoiceActivity

SHARED = Path(__file__).parents[4] / "shared" / "speech"
LEAD_S, TAIL_S = 4.0, 3.0
PAUSE_MS = 600


def spans(samples):
    """Return (begin block, end block, last active block) of each utterance, ended after the pause."""
    ears, found, begun, last = VoiceActivity(), [], None, 0
    for number, block in enumerate(samples[: len(samples) // BLOCK * BLOCK].reshape(-1, BLOCK)):
        seen = ears.follow(block)
        if begun is None and seen.state is State.SPEAKING:
            begun = number
        if begun is not None:
            last = number if seen.silence_ms == 0 else last
            if seen.silence_ms >= PAUSE_MS:
                found.append((begun, last))
                begun = None
                ears.quieten()
    return found


def speech_part(clip):
    power = np.mean(clip[: len(clip) // BLOCK * BLOCK].reshape(-1, BLOCK).astype(float) ** 2, axis=1)
    loud = np.flatnonzero(power > np.percentile(power, 95) / 630)  # within 28 dB of the loud blocks
    return loud[0], loud[-1]


def measure(clips, noises, ratio_db):
    late, ends, missed, cut, false, minutes = [], [], 0, 0, 0, 0.0
    for clip, noise in zip(clips, noises, strict=True):
        first, last = speech_part(clip)
        speech = clip[first * BLOCK : (last + 1) * BLOCK].astype(float)
        lead = int(LEAD_S * 16000) // BLOCK * BLOCK
        whole = np.concatenate([np.zeros(lead), clip, np.zeros(int(TAIL_S * 16000))])
        whole *= 1600 / np.sqrt(np.mean(speech**2))
        rolled = np.roll(np.tile(noise, -(-len(whole) // len(noise))), random.randrange(len(noise)))[: len(whole)]
        rolled = rolled * (1600 / np.sqrt(np.mean(rolled**2)) * 10 ** (-ratio_db / 20))
        mixed = np.clip(whole + rolled, -32768, 32767).astype(np.int16)
        begin, end = lead // BLOCK + first, lead // BLOCK + last
        inside = [span for span in spans(mixed) if span[1] >= begin and span[0] <= end]
        false += len([span for span in spans(mixed) if span[0] > 60 and (span[1] < begin or span[0] > end)])
        minutes += (len(mixed) / BLOCK - (end - begin) - 60) * BLOCK_MS / 60000
        missed += not inside
        cut += len(inside) > 1
        if inside:
            late.append((inside[0][0] - begin) * BLOCK_MS)
            ends.append((inside[-1][1] - end) * BLOCK_MS)
    count = len(clips)
    print(
        f"  {ratio_db:>3} dB: missed {missed}/{count}, cut {cut}/{count}, "
        f"begun late by {np.percentile(late, [5, 50, 95])} ms, "
        f"ended late by {np.percentile(ends, [5, 50, 95])} ms, "
        f"false {false / minutes:.1f}/min"
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clips", type=int, default=40)
    options = parser.parse_args()
    if not SHARED.is_dir():
        sys.exit("the recordings of ../shared/speech are not here")
    random.seed(7)
    chosen = random.sample(sorted((SHARED / "an4" / "train").glob("*.flac")), options.clips)
    clips = [SoundFile(path).samples() for path in chosen]
    groups = {
        "steady (burner, fan: calculated)": "boiler*",
        "rooms": "room-*",
        "unsteady (talk, wind, traffic)": "[cfwt]*",
    }
    for title, pattern in groups.items():
        print(title)
        noises = [SoundFile(path).samples().astype(float) for path in sorted((SHARED / "noise").glob(pattern))]
        noises = [noise for noise in noises if len(noise) > 5 * 16000]
        picked = [noises[i % len(noises)] for i in range(len(clips))]
        for ratio_db in (30, 20, 10, 5, 0):
            measure(clips, picked, ratio_db)


if __name__ == "__main__":
    main()
