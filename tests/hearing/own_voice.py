"""The tool's own voice as a room returns it to the microphone, by calculation; and all that it can say."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.sources import Recording
from handsfree.lexicon.automaton import phrases
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.shipped import shipped_procedures
from handsfree.speaking.voice import Voice, VoiceSettings

PROCEDURES = Path(__file__).parents[2] / "procedures"
BLANKS = ("nine point three", "the cover", "one eight", "maximum")
"""What stands in the blanks of a saying, in turn."""


def own_prompts():
    """Every saying and script of the catalogue and every prompt of the shipped procedures, blanks filled."""
    catalogue = english()
    texts = list(catalogue.sayings.values()) + [hazard.script for hazard in catalogue.hazards.values()]
    for path in shipped_procedures():
        procedure = load_procedure(path)
        texts += list(procedure.file.cautions)
        texts += [
            placed.gate.prompt for placed in procedure.gates.values() if getattr(placed.gate, "prompt", None)
        ]
    filled = []
    for text in texts:
        blanks = iter(BLANKS)
        filled.append(re.sub(r"\{[^}]*\}", lambda _, each=blanks: next(each, "one"), text))
    return [text for text in dict.fromkeys(filled) if re.search(r"[a-z]", text)]


def rendered(name, texts, level=2000):
    """The texts by an espeak voice, their voiced parts at an effective value."""
    voice = Voice(VoiceSettings(name=name))
    try:
        waves = [voice.render(text).at_rate(16000).samples.astype(float) for text in texts]
    finally:
        voice.close()
    return [wave * (level / np.sqrt(np.mean(wave[np.abs(wave) > 200] ** 2))) for wave in waves]


def echoed(wave, room_s, seed=0, delay_ms=180):
    """What the microphone hears of the wave: as strong as the wave itself, later, and with the room's answer.

    The direct part and the room's answer are equally strong (a microphone at the critical distance).
    """
    from scipy.signal import fftconvolve  # noqa: PLC0415 - half a second, only where it is needed

    rng = np.random.default_rng(seed)
    time_s = np.arange(round(room_s * 16000)) / 16000
    answer = rng.normal(size=len(time_s)) * 10 ** (-3 * time_s / room_s)
    answer /= np.sqrt(np.sum(answer**2))
    answer[0] += 1.0
    peak = np.abs(wave).max()
    saturated = np.tanh(wave / peak * 0.5) * peak / 0.5
    drifted = np.interp(np.arange(len(wave)) * (1 + 50e-6), np.arange(len(wave)), saturated)
    heard = fftconvolve(drifted, answer)
    heard *= np.sqrt(np.mean(wave**2) / np.mean(heard[: len(wave)] ** 2))
    return np.concatenate([np.zeros(delay_ms * 16), heard])


def stops_in(recogniser, stop_words, wave, played=None):
    """The stops (ms, words) heard in the wave while the tool speaks, by the listener that visits use."""
    heard = heard_over(recogniser, stop_words, wave, played)
    return [(at_ms, " ".join(one.alternatives[0].text)) for at_ms, one in heard]


def heard_over(recogniser, stop_words, wave, played=None):
    """The utterances (ms, utterance) that the listener tells in the wave while the tool speaks."""
    listener = Listener(recogniser, stop_words)
    listener.listen_for(phrases(["yes", "no"]).automaton())
    known = None if played is None else np.clip(np.rint(played), -32768, 32767).astype(np.int16)
    listener.tool_speaks(True, known)
    samples = np.clip(np.rint(wave), -32768, 32767).astype(np.int16)
    return [
        (block.start_ms + 20, event)
        for block in Recording(samples).blocks()
        for event in listener.hear(block)
        if isinstance(event, Utterance)
    ]
