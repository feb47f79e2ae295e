"""What talk and noise that are not for us do, an hour.

Other people's talk (drink orders, wake words: ../shared/speech/other-talk, the part kept for the last test; no
boiler words are meant, though numbers occur) with pauses and in burner noise, and noise alone, are listened
to at the shipped procedure's first readings and first confirmation. Half of an acceptance is only a question
back: readings and restores are read back before they count. Stops act at once.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.ledger import read
from handsfree.procedure.languages import english
from tests.bench.hearing.material import gates
from tests.bench.live import material
from tests.bench.live.figures import AnHour, Figure, Note
from tests.bench.live.scale import MODEL, Scale
from tests.bench.live.turns import conducted
from tests.live.support.long_visit import write_procedure

MINUTES = 30
STRETCH = 8 * material.RATE
GATES = 300
KINDS = {
    "read-back": "values read back",
    "reading-accepted": "values accepted, by silence or a heard yes",
    "gate-passed": "gates passed",
    "restored": "things held for put back",
    "stopped": "stops",
}


def figures(scale: Scale) -> Iterator[Figure]:
    """Listen to all of it at both gates, then let a whole visit hear it."""
    if not material.SPEECH.is_dir():
        yield Figure("not measured", Note("the recordings of ../shared/speech are not here"))
        return
    seconds = 60 * scale.many(MINUTES)
    talk = material.other_talk(seconds)
    roar = np.resize(material.burner_noise(60), len(talk)) * 2000
    sounds = {
        "talk, quiet room": talk + roar * 0.01,
        "talk 10 dB above the burner": talk + roar * 10 ** (-10 / 20),
        "noise alone, recorded": material.noise(seconds) * 0.3,
    }
    recogniser, stops = Recogniser(MODEL), _stops()
    for sound, wave in sounds.items():
        samples = np.clip(wave, -32768, 32767).astype(np.int16)
        hours = len(samples) / material.RATE / 3600
        for gate, grammar in gates().items():
            listener = Listener(recogniser)
            listener.listen_for(grammar)
            heard = [one for one in listener.utterances(Recording(samples)) if isinstance(one, Utterance)]
            texts = Counter(" ".join(one.alternatives[0].text) for one in heard)
            texts.pop(UNKNOWN, None)
            stopped = sum(count for text, count in texts.items() if text in stops)
            at = f"{sound}, at a {gate} gate"
            yield Figure(f"{at}: accepted", AnHour(sum(texts.values()), hours))
            yield Figure(f"{at}: stops", AnHour(stopped, hours))
            if texts:
                yield Figure(
                    "    most often", Note(", ".join(f"{n} x {text!r}" for text, n in texts.most_common(4)))
                )


@dataclass
class OnlyTalk:
    """Other people's talk and nobody's answer: a script for a visit in the time of the sound."""

    samples: np.ndarray
    at_ms: int = 0

    @property
    def over(self) -> bool:
        """Whether all has been played."""
        return self.at_ms * 16 + STRETCH > len(self.samples)

    def __call__(self, at_ms: int) -> np.ndarray | None:
        """Return the next eight seconds."""
        self.at_ms = at_ms
        return None if self.over else self.samples[at_ms * 16 : at_ms * 16 + STRETCH]


def _in_a_visit(samples: np.ndarray) -> Iterator[Figure]:
    """Let a whole visit, at gates that ask for one number each, hear nothing but talk."""
    with tempfile.TemporaryDirectory() as scratch, pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", f"{scratch}/state")
        procedure = write_procedure(Path(scratch), GATES, cover=False)
        ran = conducted(procedure, lambda _recorder, _hearing: OnlyTalk(samples))
        kinds = Counter(entry.kind for entry in read(ran.folder))
    hours = len(samples) / material.RATE / 3600
    for kind, title in KINDS.items():
        yield Figure(f"a visit that hears only talk: {title}", AnHour(kinds[kind], hours))


def _stops() -> set[str]:
    return {text for hazard in english().hazards.values() for text in hazard.heard}
