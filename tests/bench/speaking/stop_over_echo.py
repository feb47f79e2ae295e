"""Stop phrases over the tool's own voice as a room returns it: `python tests/bench/speaking/stop_over_echo.py`.

The tool's prompts come back to the microphone through calculated rooms (a direct part and an exponential
decay, RT60 as printed; both sound cards' delay; a loudspeaker that saturates a little; two clocks 50 ppm apart),
other voices call stop phrases over them, at set ratios of the levels, in light burner noise. Printed for each
room and ratio: the share of phrases heard, wrong ones, the time from the end of the phrase; and false stops
by the tool's own voice alone, at each level of it, over all sayings of the catalogue and all prompts.
`--blind` hides from the listener what was played, for comparison.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parents[2] / "hearing"))

from own_voice import echoed, own_prompts, rendered, stops_in
from sounds import burner_noise

from handsfree.hearing.recogniser import Recogniser
from handsfree.lexicon.catalogue import english
from handsfree.procedure.phrases import stop_grammar
from handsfree.shipped import model_folder

CALLS = [
    "stop work",
    "gas smell",
    "c o alarm",
    "feel ill",
    "burner out",
    "i can smell gas",
    "the alarm is going off",
]
PROMPTS = [
    "Nine three. Four four. One eight.",
    "C O eight zero. Again in thirty.",
    "Found at one five. Put it back.",
    "Clockwise, facing the screw, one eighth.",
    "Hold the maximum rate. Say the fan speed.",
    "Turn the outdoor reset up. What was it?",
    "What is left: the probe, the plug, the cover.",
    "Recheck at minimum rate, then again at maximum.",
]
PEOPLE = ["en-us+f3", "en-us+m3", "en-us+m7"]
ROOMS_S = (0.15, 0.3)
ABOVE_DB = (12, 6, 0, -6)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--blind", action="store_true")
    parser.add_argument("--no-false", action="store_true")
    parser.add_argument("--each", type=int, default=1, help="places at which each phrase is called")
    options = parser.parse_args()
    recogniser, words = Recogniser(model_folder()), stop_grammar(english()).automaton
    prompts = rendered("en-us", PROMPTS)
    calls = {name: rendered(name, CALLS) for name in PEOPLE}
    for room_s in ROOMS_S:
        for above_db in ABOVE_DB:
            heard, wrong, late, count = 0, 0, [], 0
            for name in PEOPLE:
                for number, wave in enumerate(calls[name]):
                    for which in range(number, number + 3 * options.each, 3):
                        # Two prompts in a row, so that even a long call ends before the voice does.
                        played = np.concatenate([prompts[which % 8], np.zeros(1600), prompts[(which + 1) % 8]])
                        mixed = echoed(played, room_s, seed=which) * 10 ** (-above_db / 20)
                        mixed = np.concatenate([mixed, np.zeros(8000)])
                        mixed += burner_noise(len(mixed) / 16000 + 1)[: len(mixed)] * 60
                        at = 16000 + 1000 * which
                        mixed[at : at + len(wave)] += wave
                        told = stops_in(recogniser, words, mixed, None if options.blind else played)
                        right = [ms for ms, text in told if text == CALLS[number] and ms > at / 16]
                        heard += bool(right)
                        wrong += any(text != CALLS[number] for _, text in told)
                        late += [right[0] - (at + len(wave)) / 16] if right else []
                        count += 1
            times = "/".join(f"{value:.0f}" for value in np.percentile(late, [5, 50, 95])) if late else "-"
            print(
                f"  RT60 {room_s:.2f} s, person {above_db:>3} dB above the tool: heard {heard}/{count}, "
                f"wrong {wrong}, 5/50/95 % {times} ms after the end",
                flush=True,
            )
    if options.no_false:
        return
    texts = own_prompts()
    waves = rendered("en-us", texts)
    for level_db in (10, 0, -10):
        false = []
        for number, (text, wave) in enumerate(zip(texts, waves, strict=True)):
            mixed = echoed(wave, 0.3, seed=number) * 10 ** (level_db / 20)
            mixed = np.concatenate([mixed, np.zeros(8000)])
            mixed += burner_noise(len(mixed) / 16000 + 1)[: len(mixed)] * 60
            false += [
                (text, told) for _, told in stops_in(recogniser, words, mixed, None if options.blind else wave)
            ]
        print(
            f"  false stops by {len(texts)} sentences of the tool at {level_db:>3} dB: {len(false)} {false}",
            flush=True,
        )


if __name__ == "__main__":
    main()
