"""Calls as a visit hears them: with the noise of a room around them, through the listener.

`played` keeps what was heard, with the third opinion where it is installed; `visit.py` decides on it.
"""

from __future__ import annotations

import json
import time
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.visit.hearing import heard_from
from models.training import recordings
from models.training.loudness import active_power
from models.training.split import Part
from tests.bench.hearing import calls, new_words
from tests.bench.hearing.material import RATE, ROOT


class Stage:
    """Puts a call into the sound of a room: noise before, under and after it."""

    def __init__(self, speech: Path, part: Part) -> None:
        self._noises = [one.samples for one in recordings.noises(speech, part) if len(one.samples) > RATE]

    def __call__(self, call: calls.Call, ratio: float | None) -> np.ndarray:
        """Return int16 sound, the loudest speech at -9 dB of full scale."""
        speech = np.asarray(call.sound(), dtype=np.float64)
        speech = speech / max(1e-6, float(np.abs(speech).max())) * 0.35
        padded = np.concatenate(
            [np.zeros(round(calls.BEFORE_S * RATE)), speech, np.zeros(round(calls.AFTER_S * RATE))]
        )
        chance = np.random.default_rng(zlib.crc32(call.name.encode()))
        if ratio is None:
            noise = chance.standard_normal(len(padded)) * calls.FAINT / 32768
        else:
            found = self._noises[chance.integers(len(self._noises))]
            noise = np.resize(np.roll(found, -int(chance.integers(len(found)))), len(padded))
            level = np.sqrt(active_power(speech)) * 10 ** (-ratio / 20)
            noise = noise / np.sqrt(np.mean(noise**2) + 1e-12) * level
        mixed = padded + noise
        mixed = mixed / max(1.0, float(np.abs(mixed).max()) / 0.99)
        return (mixed * 32767).astype(np.int16)


class Ears:
    """The recogniser of a visit, with the third opinion where it is installed; nothing is ever too late."""

    def __init__(
        self, general: Path | None = None, *, model: Path = ROOT / "models" / "english", alone: bool = False
    ) -> None:
        plan = None if alone else GeneralPlan.of(english(), general)
        said = Pronunciations(new_words.procedure().words)
        self._member = None if plan is None else GeneralMember(replace(plan, threads=1), said)
        if self._member is not None:
            self._member.wait().patient()
        self._recogniser = Recogniser(model, said, self._member)

    def hear(self, sound: np.ndarray, place: calls.Place) -> list[dict[str, Any]]:
        """Return the utterances as a visit records them."""
        listener = Listener(self._recogniser, calls.stop_words())
        listener.listen_for(place.grammar.automaton)
        said = [one for one in listener.utterances(Recording(sound)) if isinstance(one, Utterance)]
        identity = place.grammar.automaton.identity
        return [heard_from(one, 0, 0, identity, None).model_dump(mode="json") for one in said]


def played(ears: Ears, stage: Stage, call: calls.Call) -> Iterator[dict[str, Any]]:
    """Yield what was heard of a call at each ratio."""
    place = calls.places()[call.place]
    for ratio in call.ratios:
        sound = stage(call, ratio)
        begin = time.process_time()
        utterances = ears.hear(sound, place)
        yield {
            "task": call.task, "name": call.name, "speaker": call.speaker, "words": list(call.words),
            "place": call.place, "ratio": ratio, "seconds": len(sound) / RATE,
            "cpu": round(time.process_time() - begin, 3), "heard": utterances,
        }  # fmt: skip


def line(found: dict[str, Any]) -> str:
    """Return a line of the file of what was heard."""
    return json.dumps(found, separators=(",", ":")) + "\n"
