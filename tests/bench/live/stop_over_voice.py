"""Stop phrases over the tool's own voice, half-duplex, as a room returns that voice to the microphone.

The tool's prompts come back through calculated rooms (see `tests/hearing/own_voice.py`), other voices call stop
phrases over them at set ratios of the levels, in light burner noise. The listener knows what is played, as in a
visit. The time to a stop is counted from the end of the phrase in the time of the sound (negative: before its
end); what the recogniser itself takes comes on top (part `latency`).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from handsfree.hearing.recogniser import Recogniser
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.procedure.languages import english
from handsfree.questions.grammar import stop_grammar
from tests.bench.live import material
from tests.bench.live.figures import AnHour, Figure, Note, Share, Spread
from tests.bench.live.scale import MODEL, Scale
from tests.hearing.own_voice import echoed, own_prompts, rendered, stops_in

PEOPLE = ("en-us+f3", "en-us+m3", "en-us+m7")
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
ROOMS_S = (0.15, 0.3)
"""Times in which the room's answer falls by 60 dB."""
ABOVE_DB = (12, 6, 0, -6)
OWN_LEVELS_DB = (10, 0, -10)
ROAR = 60
"""Effective value of the burner's noise; the speech has 2000."""
AFTER = np.zeros(material.RATE // 2)


def figures(scale: Scale) -> Iterator[Figure]:
    """First the tool alone, every sentence it has, then a person over it."""
    recogniser, words = Recogniser(MODEL), stop_grammar(english()).automaton
    yield from _alone(recogniser, words, scale)
    hazards = english().hazards
    meaning = {text: name for name, hazard in hazards.items() for text in hazard.heard}
    calls = [text for hazard in hazards.values() for text in hazard.heard[: 1 if scale.quick else 3]]
    waves = {name: rendered(name, calls) for name in PEOPLE}
    prompts = rendered("en-us", PROMPTS)
    for room_s, above_db in product(ROOMS_S[: scale.many(len(ROOMS_S))], ABOVE_DB):
        right, other, late, count = 0, 0, [], 0
        for name, (number, call) in product(PEOPLE, enumerate(calls)):
            # Two prompts in a row, so that even a long call ends before the voice does.
            pair = prompts[number % len(prompts)], prompts[(number + 1) % len(prompts)]
            played = np.concatenate([pair[0], np.zeros(material.RATE // 10), pair[1]])
            heard = np.concatenate([echoed(played, room_s, seed=number) * 10 ** (-above_db / 20), AFTER])
            wave, at = waves[name][number], material.RATE + 1000 * (number % 8)
            heard = np.pad(heard, (0, max(0, at + len(wave) + len(AFTER) - len(heard))))
            heard[at : at + len(wave)] += wave
            told = stops_in(recogniser, words, heard + _roar(len(heard)), played)
            meant = [ms for ms, text in told if meaning[text] == meaning[call] and ms > at / 16]
            right += bool(meant)
            other += any(meaning[text] != meaning[call] for _, text in told)
            late += [meant[0] - (at + len(wave)) / 16] if meant else []
            count += 1
        title = f"room {room_s:g} s, the person {above_db:+d} dB over the tool"
        yield Figure(f"{title}: the right stop", Share(right, count))
        yield Figure(f"{title}: another stop", Share(other, count))
        yield Figure(f"{title}: after its end", Spread.of(late, "ms"))


def _alone(recogniser: Recogniser, words: WordAutomaton, scale: Scale) -> Iterator[Figure]:
    texts = own_prompts()
    texts = texts[:: len(texts) // scale.many(len(texts))]
    waves = rendered("en-us", texts)
    for level_db in OWN_LEVELS_DB:
        false, length = [], 0
        for number, (text, wave) in enumerate(zip(texts, waves, strict=True)):
            heard = np.concatenate([echoed(wave, ROOMS_S[-1], seed=number) * 10 ** (level_db / 20), AFTER])
            false += [
                f"{text!r} as {told!r}" for _, told in stops_in(recogniser, words, heard + _roar(len(heard)), wave)
            ]
            length += len(heard)
        title = f"the tool's own {len(texts)} sentences at {level_db:+d} dB: stops"
        yield Figure(title, AnHour(len(false), length / material.RATE / 3600))
        if false:
            yield Figure("    as", Note(", ".join(false[:4])))


def _roar(length: int) -> np.ndarray:
    return np.resize(material.burner_noise(10), length) * ROAR
