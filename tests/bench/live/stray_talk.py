"""What talk that is not for us does: `python tests/bench/live/stray_talk.py [--minutes N]`.

Recordings of other people's talk (drink orders, wake words; ../shared/speech/other-talk, no boiler words
meant, though numbers occur) are joined with pauses, with and without burner noise, and listened to under
three grammars with the shipped model. Printed per hour of talk: utterances noticed, sentences of the
grammar accepted (false acceptances), and stops.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parents[2] / "hearing"))

from sounds import SHARED, burner_noise

from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording, SoundFile
from handsfree.lexicon.automaton import choice, optional, phrase, phrases, sequence

MODEL = Path(__file__).parents[3] / "models" / "english"
DIGITS = phrases(["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "zero"])
STOPS = ["stop work", "gas smell", "feel ill", "burner out"]
ALWAYS = phrases([*STOPS, "repeat", "go back", "hold on", "carry on"])
GRAMMARS = {
    "a reading": choice(ALWAYS, sequence(DIGITS, phrase("point"), DIGITS, optional(DIGITS))),
    "a confirmation": choice(ALWAYS, phrases(["yes", "no", "done"])),
    "stops alone": phrases(STOPS),
}


def talk(minutes):
    """Other people's talk, shuffled, each clip at the same level and followed by a second of quiet."""
    paths = sorted((SHARED / "other-talk").glob("*/*"))
    random.Random(11).shuffle(paths)
    pieces, length = [np.zeros(48000)], 0
    for path in paths:
        clip = SoundFile(path).samples().astype(float)
        voiced = clip[np.abs(clip) > np.abs(clip).max() / 10]
        if len(voiced):
            pieces += [clip * (2000 / np.sqrt(np.mean(voiced**2))), np.zeros(16000)]
            length += len(clip) + 16000
        if length > minutes * 60 * 16000:
            break
    return np.concatenate(pieces)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=20)
    options = parser.parse_args()
    if not SHARED.is_dir():
        sys.exit("the recordings of ../shared/speech are not here")
    recogniser, speech = Recogniser(MODEL), talk(options.minutes)
    hours = len(speech) / 16000 / 3600
    noise = burner_noise(60)
    for ratio_db in (40, 10):
        under = np.resize(noise, len(speech)) * 2000 * 10 ** (-ratio_db / 20)
        samples = np.clip(speech + under, -32768, 32767).astype(np.int16)
        for name, pattern in GRAMMARS.items():
            begun = time.perf_counter()
            listener = Listener(recogniser)
            listener.listen_for(pattern.automaton())
            heard = [each for each in listener.utterances(Recording(samples)) if isinstance(each, Utterance)]
            accepted = Counter(" ".join(each.alternatives[0].text) for each in heard)
            unknown = accepted.pop(UNKNOWN, 0)
            stops = sum(count for text, count in accepted.items() if text in STOPS)
            print(
                f"  {ratio_db} dB, {name:15}: {len(heard) / hours:.0f} utterances an hour, unknown {unknown}, "
                f"accepted {sum(accepted.values()) / hours:.0f} an hour, stops {stops / hours:.1f} an hour; "
                f"{(time.perf_counter() - begun) / (hours * 3600):.3f} of real time; {accepted.most_common(4)}"
            )
    del listener, recogniser


if __name__ == "__main__":
    main()
