"""Visits whose answers are spoken by a voice in faint noise, honestly or not."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from invented_visits import RATE, heard, tone

from handsfree.demo.boiler import InventedBoiler
from handsfree.demo.play import DemoClock, scenario_files
from handsfree.demo.technician import InventedTechnician
from handsfree.events import inputs as inp
from handsfree.shipped import procedure_path
from handsfree.speaking.voice import Voice, VoiceSettings
from handsfree.trades.combustion.stops import fuel_of
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

MOST = 18
ATTACKS = ("tone", "silence", "own voice", "other words", "nothing", "copied", "copied and louder")


@dataclass
class AttackedVisit:
    """A visit's folder, and of each attack the number of the entry that it was made on."""

    folder: Path
    entries: dict[str, int] = field(default_factory=dict)
    honest: list[int] = field(default_factory=list)


class _Mouth:
    """The technician's voice, each time a little quicker or slower as people are, and the tool's."""

    def __init__(self) -> None:
        self._person, self._tool = Voice(VoiceSettings("en-us+m3", 150)), Voice()
        self._noise = np.random.default_rng(7)

    def close(self) -> None:
        self._person.close()
        self._tool.close()

    def person(self, words: str, time: int) -> np.ndarray:
        wave = _sound(self._person, words)
        pace = 0.92 + 0.16 * (time * 7 % MOST) / MOST
        return self._in_noise(np.interp(np.arange(0, len(wave), pace), np.arange(len(wave)), wave))

    def tool(self, words: str) -> np.ndarray:
        """Return the tool's own voice as a loudspeaker and a small room return it."""
        room = np.zeros(80)
        room[[0, 23, 61]] = 1.0, 0.4, -0.25
        return self._in_noise(np.convolve(_sound(self._tool, words), room))

    def nothing(self) -> np.ndarray:
        return self._in_noise(np.zeros(RATE))

    def _in_noise(self, wave: np.ndarray) -> np.ndarray:
        wave = np.concatenate([np.zeros(RATE // 3), wave * 0.4, np.zeros(RATE // 3)])
        return np.clip(np.rint(wave + self._noise.normal(size=len(wave)) * 60), -32768, 32767).astype(np.int16)


def attacked_visit(folder: Path) -> AttackedVisit:
    """Record the first answers of a visit, each spoken; one attack is made on each of some of them."""
    plan, kept = load_plan(procedure_path("two-rate-combustion"), scenario_files()[0])
    clock, said = DemoClock(), 0
    recorder, _ = Recorder.begin(folder, plan, kept, clock=clock)
    technician = InventedTechnician(plan, InventedBoiler(fuel_of(plan.sheets)))
    made = AttackedVisit(folder)
    kept_sounds: dict[str, np.ndarray] = {}
    with closing(_Mouth()) as mouth:
        while said < MOST:
            state = recorder.state
            if state.speaking:
                clock.passes(1.2)
                recorder.take(inp.SpeechEnded(at=recorder.now()))
                continue
            if state.question.manner.awaits != "answer":
                clock.passes(max((recorder.deadline() or 0) - recorder.now(), 1) / 1000)
                technician.notice(recorder.take(inp.TimePassed(at=recorder.now())), recorder.state.now / 1000)
                continue
            clock.passes(technician.seconds_before(state) + 3)
            words = technician.answer(state)
            before = kept_sounds.get(words)
            attack = _attack(made, said, again=before is not None)
            sound = _sound_of(mouth, words, said, attack, before)
            kept_sounds.setdefault(words, sound)
            entry = recorder.head().count
            events = recorder.take(heard(recorder, words.split(), recorder.keep_sound(sound, RATE)))
            technician.notice(events, recorder.state.now / 1000)
            if attack:
                made.entries[attack] = entry
            else:
                made.honest.append(entry)
            said += 1
    recorder.release()
    assert set(made.entries) == set(ATTACKS), made.entries
    return made


def _attack(made: AttackedVisit, said: int, *, again: bool) -> str:
    """Return the attack on an answer: those with a copy where the words were said before; none at most places."""
    if said % 2 == 0:
        return ""
    copies = ("copied", "copied and louder")
    return next((each for each in ATTACKS if each not in made.entries and (each in copies) == again), "")


def _sound_of(mouth: _Mouth, words: str, time: int, attack: str, before: np.ndarray | None) -> np.ndarray:
    match attack:
        case "tone":
            return tone(0.9)
        case "silence":
            return np.zeros(RATE, np.int16)
        case "own voice":
            return mouth.tool(words)
        case "other words":
            return mouth.person("gas smell" if words == "one two three" else "one two three", time)
        case "nothing":
            return mouth.nothing()
        case "copied":
            assert before is not None
            return before
        case "copied and louder":
            assert before is not None
            return np.clip(np.rint(before[900:] * 1.3), -32768, 32767).astype(np.int16)
        case _:
            return mouth.person(words, time)


def _sound(voice: Voice, words: str) -> np.ndarray:
    sound = voice.render(words)
    if sound is None:
        pytest.fail(f"the test's voice is missing: {voice.notice}")
    return sound.at_rate(RATE).samples.astype(np.float64)


@contextmanager
def rendered_by_the_tool() -> Iterator[object]:
    """Yield what renders a text as the tool says it."""
    with closing(Voice()) as voice:
        yield lambda text: None if (sound := voice.render(text)) is None else sound.at_rate(RATE).samples
