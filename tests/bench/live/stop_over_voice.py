"""Stop phrases over the tool's own voice, half-duplex.

The tool's prompts and a technician's stop phrases are rendered by different voices and mixed at set ratios of
their levels, in light burner noise. The time to a stop is counted from the end of the phrase, in the time of
the sound (negative: before its end); what the recogniser itself takes comes on top (part `latency`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import BLOCK_MS, Recording
from handsfree.lexicon.automaton import phrases
from handsfree.lexicon.catalogue import english
from handsfree.procedure.phrases import stop_grammar
from tests.bench.live import material
from tests.bench.live.figures import AnHour, Figure, Note, Share, Spread
from tests.bench.live.scale import MODEL, Scale

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
PEOPLE = ("en-us+f3", "en-us+m3", "en-us+m7")
OFFSETS_S = (1.3, 3.1, 5.7)
ABOVE_DB = (None, 12, 6, 0)
PHRASE_AT, HEARD = 2 * material.RATE, 5 * material.RATE
"""Where in a mixture the phrase begins, and how long the mixture is, in samples."""


def figures(scale: Scale) -> Iterator[Figure]:
    """First the tool alone, then a technician over it."""
    ears = Recogniser(MODEL)
    hazards = {name: hazard.heard for name, hazard in english().hazards.items()}
    talk = np.concatenate(
        [part for wave in material.rendered("en-us", PROMPTS) for part in (wave, np.zeros(material.RATE // 4))]
    )
    talk += np.resize(material.burner_noise(60), len(talk)) * 200
    false = _stops_in(ears, talk)
    yield Figure("the tool's own voice alone: stops", AnHour(len(false), len(talk) / material.RATE / 3600))
    if false:
        yield Figure("    as", Note(", ".join(text for _, text in false)))
    meaning = {text: name for name, texts in hazards.items() for text in texts}
    stops = list(meaning) if not scale.quick else [texts[0] for texts in hazards.values()]
    spoken = {name: material.rendered(name, stops) for name in PEOPLE}
    for above_db in ABOVE_DB:
        right, other, late = 0, 0, []
        tries = [
            (number, wave, offset_s)
            for waves in spoken.values()
            for number, wave in enumerate(waves)
            for offset_s in (OFFSETS_S if above_db is not None and not scale.quick else OFFSETS_S[:1])
        ]
        for number, wave, offset_s in tries:
            told = _stops_in(ears, _over(talk, wave, round((offset_s + number * 4) * material.RATE), above_db))
            meant = [ms for ms, text in told if meaning[text] == meaning[stops[number]] and ms > PHRASE_AT / 16]
            right += bool(meant)
            other += any(meaning[text] != meaning[stops[number]] for _, text in told)
            late += [meant[0] - (PHRASE_AT + len(wave)) / 16] if meant else []
        title = "the tool silent" if above_db is None else f"the person {above_db} dB above the tool"
        yield Figure(f"{title}: the right stop", Share(right, len(tries)))
        yield Figure(f"{title}: another stop", Share(other, len(tries)))
        yield Figure(f"{title}: after the phrase's end", Spread.of(late, "ms"))


def _over(talk: np.ndarray, wave: np.ndarray, begin: int, above_db: float | None) -> np.ndarray:
    """Return a phrase in the tool's talk, or in light noise alone."""
    length = max(HEARD, PHRASE_AT + len(wave) + material.RATE)
    if above_db is None:
        mixed = np.resize(material.burner_noise(10), length) * 200
    else:
        mixed = np.resize(np.roll(talk, -begin), length) * 10 ** (-above_db / 20)
    mixed[PHRASE_AT : PHRASE_AT + len(wave)] += wave
    return mixed


def _stops_in(ears: Recogniser, wave: np.ndarray) -> list[tuple[int, str]]:
    """Return the time (ms) and words of each stop heard while the tool speaks."""
    listener = Listener(ears, stop_grammar(english()).automaton)
    listener.listen_for(phrases(["yes", "no"]).automaton())
    listener.tool_speaks(True)
    samples = np.clip(wave, -32768, 32767).astype(np.int16)
    return [
        (block.start_ms + BLOCK_MS, " ".join(event.alternatives[0].text))
        for block in Recording(samples).blocks()
        for event in listener.hear(block)
        if isinstance(event, Utterance)
    ]
