"""Hours of sound through the whole loop, faster than real time, from one source to one verified record.

Source, voice activity, listener and recogniser in the hearing process; conductor, session and ledger here,
in the time of the sound. An invented person answers every question of a long visit, by rendered voices and, for
numbers where ../shared/speech is there, by a person's recorded digits; between their words lie stretches of
noise, and of other people's talk. What is said and where is known, so what is lost or late is counted.
"""

from __future__ import annotations

import os
import random
import resource
import tempfile
import time
from bisect import bisect_left
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import theilslopes

from handsfree.hearing.sources import BLOCK
from handsfree.hearing.worker import Hearing
from handsfree.ledger import Entry, read, verify
from handsfree.visit.recorder import Recorder
from handsfree.visit.replaying import replay_of
from models.training import recordings
from models.training.split import Part
from tests.bench.live import material
from tests.bench.live.figures import Amount, AnHour, Figure, Note, Share, Spread
from tests.bench.live.scale import Scale
from tests.bench.live.turns import Told, conducted, stretched
from tests.live.support.conversation import Speakers
from tests.live.support.long_visit import MOST_ROUNDS, Person, at_gate, person_for, write_procedure
from tests.live.support.processes import growth_per_hour, resident_mb

LEAD_S, PROMPT_S = (1.0, 6.0), (0.3, 0.5)
"""Noise before a phrase: at a gate's own question, and where a read-back is answered before silence accepts it."""
TAIL_S, IDLE_S = 1.3, 8.0
"""Noise after a phrase, and the length of a stretch without one."""
TALK_SHARE, NOISE_SHARE = 0.1, 0.1
"""Chances, at a gate's own question, of other people's talk and of nothing but noise."""
SECONDS_EACH_GATE = 20.0
"""About what a gate takes, with the stretches between (21.5 s measured); less, or the rounds run out."""
LAST_S = 60.0
"""Kept for the end of the visit."""
ROAR_DB = (30.0, 20.0, 15.0)
"""The burner below the voice, a minute each in any order."""
HOUR_MS = 3_600_000
ASIDE = 0.3
"""The share of asides at the gates' own questions."""


@dataclass
class Scripted:
    """One phrase as it was laid into the sound, in ms."""

    words: str
    who: str
    begin_ms: int
    end_ms: int


@dataclass
class Conversation:
    """Decides what each stretch holds, from the state of the visit, and keeps what it was."""

    person: Person
    recorder: Recorder
    speakers: Speakers
    hours: float
    round_s: float
    hearing: Hearing
    dice: random.Random = field(default_factory=lambda: random.Random(17))
    said: list[Scripted] = field(default_factory=list)
    called: list[tuple[int, dict[str, Decimal]]] = field(default_factory=list)
    """When, and which value of each quantity the person had called last."""
    talk: int = 0
    at_ms: int = 0
    memory: list[tuple[float, float, float]] = field(default_factory=list)
    """Hours of sound, MB of the hearing process, MB of this one."""

    def __post_init__(self) -> None:
        self._noise = material.burner_noise(60) * 2000
        self._digits = _recorded_digits()
        self._talk = material.other_talk(900) if material.SPEECH.is_dir() else np.zeros(0)

    @property
    def over(self) -> bool:
        """Whether all of the time has been filled."""
        return self.at_ms >= self.hours * HOUR_MS

    def __call__(self, at_ms: int) -> np.ndarray | None:
        """Return the next stretch; None when the time is over."""
        self.at_ms = at_ms
        if self.over:
            return None
        if at_ms >= len(self.memory) * self.hours * HOUR_MS / 200:
            now = resident_mb(self.hearing.process_id), resident_mb(os.getpid())
            self.memory.append((at_ms / HOUR_MS, *now))
        state, kind = self.recorder.state, self.dice.random()
        self.person.goes_on(self.hours * HOUR_MS - at_ms > 1000 * (self.round_s + LAST_S))
        between = self.recorder.closed or at_gate(self.recorder.plan, state)
        if self.recorder.closed or (between and kind < NOISE_SHARE):
            return stretched([], self._roar(IDLE_S))
        if between and kind < NOISE_SHARE + TALK_SHARE and len(self._talk):
            self.talk += 1
            begin = self.dice.randrange(len(self._talk) - 6 * material.RATE)
            return stretched([(0, self._talk[begin : begin + 6 * material.RATE])], self._roar(IDLE_S))
        who, words, wave = self._phrase()
        first = round(self.dice.uniform(*(LEAD_S if between else PROMPT_S)) * material.RATE)
        end = first + material.speech_end(wave)
        self.said.append(Scripted(words, who, at_ms + first // 16, at_ms + end // 16))
        return stretched([(first, wave)], self._roar((first + len(wave)) / material.RATE + TAIL_S))

    def _roar(self, seconds: float) -> np.ndarray:
        """Return the burner alone, in whole blocks."""
        length = -(-round(seconds * material.RATE) // BLOCK) * BLOCK
        begin = self.dice.randrange(len(self._noise) - length)
        level = random.Random(self.at_ms // 60_000).choice(ROAR_DB)
        return self._noise[begin : begin + length] * 10 ** (-level / 20)

    def _phrase(self) -> tuple[str, str, np.ndarray]:
        words = self.person.says(self.recorder.state, ASIDE)
        self.called.append((self.at_ms, dict(self.person.called)))
        spelled = words.split()
        if self._digits and all(word in self._digits for word in spelled) and self.dice.random() < 0.5:
            pieces = [self.dice.choice(self._digits[word]) for word in spelled]
            gap = np.zeros(material.RATE // 12)
            return "a person", words, np.concatenate([part for piece in pieces for part in (piece, gap)])
        wave = self.speakers.say(words)
        assert wave is not None, self.speakers.notice
        return "rendered", words, wave


def figures(scale: Scale) -> Iterator[Figure]:
    """Hear so many hours, then look at what is on the disk."""
    sound_s = scale.hours * 3600
    gates = max(2, round(sound_s / SECONDS_EACH_GATE / MOST_ROUNDS))
    with (
        tempfile.TemporaryDirectory() as scratch,
        closing(Speakers()) as speakers,
        pytest.MonkeyPatch.context() as patch,
    ):
        patch.setenv("HANDSFREE_STATE", f"{scratch}/state")
        script: Conversation | None = None

        def script_of(recorder: Recorder, hearing: Hearing) -> Conversation:
            nonlocal script
            script = Conversation(
                person_for(recorder.plan), recorder, speakers, scale.hours, gates * SECONDS_EACH_GATE, hearing
            )
            return script

        ran = conducted(write_procedure(Path(scratch), gates), script_of)
        assert script is not None
        children = resource.getrusage(resource.RUSAGE_CHILDREN)
        heard_s = children.ru_utime + children.ru_stime
        yield Figure("sound", Amount(script.at_ms / HOUR_MS, "hours", 2))
        yield from _heard(script, ran.utterances)
        yield Figure("restarts of hearing", Amount(ran.restarts, "", 0))
        yield from _memory(script)
        yield Figure("speed", Amount(ran.took_s / sound_s, "of real time", 4))
        yield Figure(
            "processor for the visit and its record", Amount(100 * ran.processor_s / sound_s, "% of a core")
        )
        yield Figure("processor for hearing", Amount(100 * heard_s / sound_s, "% of a core"))
        yield from _record(ran.folder, script)


def _heard(script: Conversation, utterances: list[Told]) -> Iterator[Figure]:
    found = [_utterance_of(one, utterances) for one in script.said]
    pairs = list(zip(script.said, found, strict=True))
    lost = [one for one, told in pairs if told is None]
    yield Figure("phrases said that became no utterance", Share(len(lost), len(pairs)))
    if lost:
        listed = ", ".join(f"{one.words!r} by {one.who} at {one.begin_ms} ms" for one in lost[:6])
        yield Figure("    as", Note(listed))
    for who in sorted({one.who for one in script.said}):
        ones = [(one, told) for one, told in pairs if one.who == who]
        right = sum(told is not None and told.words == one.words for one, told in ones)
        yield Figure(f"word for word right, {who}", Share(right, len(ones)))
    yield Figure("stretches of other talk", Amount(script.talk, "", 0))
    yield Figure("utterances in all", Amount(len(utterances), "", 0))
    yield Figure("utterances with lost sound", Amount(sum(one.overflow for one in utterances), "", 0))
    yield from _drift([(one.end_ms, told.ended_ms - one.end_ms) for one, told in pairs if told is not None])


def _utterance_of(one: Scripted, utterances: list[Told]) -> Told | None:
    """Return the utterance that holds a phrase; they are in the order of their ends."""
    at = bisect_left(utterances, one.begin_ms, key=lambda told: told.ended_ms)
    return next((told for told in utterances[at : at + 1] if told.started_ms < one.end_ms), None)


def _drift(rows: list[tuple[int, int]]) -> Iterator[Figure]:
    """Tell how much later than by the script utterances end, and whether that grows with the hours."""
    at, late = np.array(rows, float).T
    yield Figure("ends of utterances later than by the script", Spread.of(late, "ms"))
    every = -(-len(at) // 1000)
    slope, _, low, high = theilslopes(late[::every], at[::every] / HOUR_MS)  # robust: a cough moves a single end
    yield Figure(
        "    their drift",
        Note(f"{slope:+.2f} ms an hour ({low:+.2f} to {high:+.2f})"),
    )


def _memory(script: Conversation) -> Iterator[Figure]:
    hours = np.array([row[0] for row in script.memory])
    for name, column in (("hearing", 1), ("visit and ledger (with this bench)", 2)):
        levels = np.array([row[column] for row in script.memory])
        tenths = ", ".join(f"{levels[int(k * (len(levels) - 1) / 8)]:.0f}" for k in range(9))
        yield Figure(f"memory of {name} at each eighth", Note(f"{tenths} MB"))
        for part, title in ((1 / 8, "after the first eighth"), (1 / 2, "over the second half")):
            warm = hours >= hours[-1] * part
            slope = growth_per_hour(3600 * hours[warm], levels[warm])
            yield Figure(f"    growth {title}", Amount(slope, "MB an hour of sound", 2))


def _record(folder: Path, script: Conversation) -> Iterator[Figure]:
    begun = time.monotonic()
    report = verify(folder, replay=replay_of(folder))
    took = time.monotonic() - begun
    events = list(read(folder))
    heard = [one for one in events if one.kind == "heard"]
    stops = _before_stops(events)
    size = sum(file.stat().st_size for file in folder.rglob("*") if file.is_file())
    yield Figure(
        "record", Note(f"{report.verdict.value}, {'verified' if report.ok else 'NOT VERIFIED'}: {report.sentence}")
    )
    yield Figure("    entries; utterances in it", Note(f"{len(events)}; {len(heard)}"))
    yield Figure("    size; time to verify", Note(f"{size / 1e6:.0f} MB; {took:.0f} s"))
    yield Figure("    gates passed", Amount(len(script.recorder.state.passed), "", 0))
    yield Figure("    stops that nobody said", AnHour(len(stops), script.at_ms / HOUR_MS))
    if stops:
        yield Figure("        at", Note(", ".join(stops[:6])))
    silently = _silently_wrong(events, script)
    yield Figure(
        "    values accepted that nobody called",
        Share(len(silently), sum(e.kind == "reading-accepted" for e in events)),
    )
    if silently:
        yield Figure("        as", Note(", ".join(silently[:6])))


def _silently_wrong(events: list[Entry], script: Conversation) -> list[str]:
    """Return accepted values that the person had not called in the two minutes before."""
    wrong = []
    times = [at for at, _ in script.called]
    for entry in (one for one in events if one.kind == "reading-accepted"):
        reading, at = entry.event["reading"], entry.event["at"]
        lately = script.called[bisect_left(times, at - 120_000) : bisect_left(times, at)]
        meant = {f"{called[reading['quantity']]:f}" for _, called in lately if reading["quantity"] in called}
        if reading["value"] not in meant:
            wrong.append(f"{entry.event['gate']} {reading['value']} for {'/'.join(sorted(meant))} at {at} ms")
    return wrong


def _before_stops(events: list[Entry]) -> list[str]:
    """Return what was heard at each stop."""
    found, words = [], ""
    for entry in events:
        if entry.kind == "heard":
            words = " ".join(word["word"] for word in entry.event["alternatives"][0]["words"])
        elif entry.kind == "stopped":
            found.append(f"{words!r} at {entry.event['at']} ms")
    return found


def _recorded_digits() -> dict[str, list[np.ndarray]]:
    """Return a person's recordings of each digit, of telephone bandwidth; none without ../shared/speech."""
    if not material.SPEECH.is_dir():
        return {}
    found: dict[str, list[np.ndarray]] = {}
    for one in recordings.digits(material.SPEECH, Part.FINAL):
        found.setdefault(one.words[0], []).append(material.levelled(one.samples * 32768.0))
    return found
