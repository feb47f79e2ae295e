"""Stop phrases over the tool's own voice, half-duplex: `python tests/bench/live/stop_over_voice.py`.

The tool's prompts and a technician's stop phrases are rendered by different voices and mixed at set
ratios of their levels, in light burner noise. Printed: false stops by the tool's own voice, then for each
ratio the share heard, wrong ones, and the time from the end of the phrase (negative: before its end).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parents[2] / "hearing"))

from sounds import burner_noise

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.lexicon.automaton import phrases
from handsfree.speaking.voice import Voice, VoiceSettings

MODEL = Path(__file__).parents[3] / "models" / "english"
STOPS = ["stop work", "gas smell", "c o alarm", "feel ill", "burner out"]
PROMPTS = [
    "Nine three. Four four. One eight.",
    "Readings.",
    "C O eight zero. Again in thirty.",
    "Reset, now?",
    "Found at one five. Put it back.",
    "Clockwise, facing the screw, one eighth.",
    "Cover on and tight. Say fitted.",
    "Burner off now.",
    "Hold the maximum rate. Say the fan speed.",
    "Wait three minutes for the analyser.",
    "Gas isolated? Lock and tag on.",
    "Carbon monoxide in the room?",
    "Turn the outdoor reset up. What was it?",
    "Trap filled and the water pressure up?",
    "Repeat the reading digit by digit.",
    "What is left: the probe, the plug, the cover.",
    "Recheck at minimum rate, then again at maximum.",
]
PEOPLE = ["en-us+f3", "en-us+m3", "en-us+m7"]


def rendered(name, texts):
    voice = Voice(VoiceSettings(name=name))
    try:
        waves = [voice.render(text).at_rate(16000).samples.astype(float) for text in texts]
    finally:
        voice.close()
    return [wave * (2000 / np.sqrt(np.mean(wave[np.abs(wave) > 200] ** 2))) for wave in waves]


def stops_in(recogniser, wave):
    listener = Listener(recogniser, phrases(STOPS).automaton())
    listener.listen_for(phrases(["yes", "no"]).automaton())
    listener.tool_speaks(True)
    samples = np.clip(wave, -32768, 32767).astype(np.int16)
    return [
        (block.start_ms + 20, " ".join(event.alternatives[0].text))
        for block in Recording(samples).blocks()
        for event in listener.hear(block)
        if isinstance(event, Utterance)
    ]


def main():
    recogniser = Recogniser(MODEL)
    prompts = rendered("en-us", PROMPTS)
    talk = np.concatenate([part for wave in prompts for part in (wave, np.zeros(4000))])
    talk += burner_noise(len(talk) / 16000)[: len(talk)] * 200
    false = stops_in(recogniser, talk)
    print(f"  false stops in {len(talk) / 16000:.0f} s of the tool's own voice: {false}")
    for above_db in (None, 12, 6, 0):
        heard, wrong, late, count = 0, 0, [], 0
        for name in PEOPLE:
            for number, wave in enumerate(rendered(name, STOPS)):
                for offset_s in (1.3, 3.1, 5.7):
                    begin = int((offset_s + number * 4) * 16000)
                    under = (
                        burner_noise(5) * 200
                        if above_db is None
                        else talk[begin : begin + 80000] * 10 ** (-above_db / 20)
                    )
                    mixed, at = under.copy(), 32000
                    mixed[at : at + len(wave)] += wave
                    told = stops_in(recogniser, mixed)
                    right = [ms for ms, text in told if text == STOPS[number] and ms > at / 16]
                    heard += bool(right)
                    wrong += any(text != STOPS[number] for _, text in told)
                    late += [right[0] - (at + len(wave)) / 16] if right else []
                    count += 1
        title = "the tool silent" if above_db is None else f"{above_db} dB above the tool"
        times = "/".join(f"{value:.0f}" for value in np.percentile(late, [5, 50, 95])) if late else "-"
        print(
            f"  technician {title}: heard {heard}/{count}, other stops {wrong}, 5/50/95 % {times} ms after the end"
        )
    del recogniser


if __name__ == "__main__":
    main()
