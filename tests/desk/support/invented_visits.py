"""Invented visits for the desk's tests: the real session and ledger, an invented technician, short tones."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from decimal import Decimal
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from filelock import FileLock

from handsfree.demo.boiler import InventedBoiler
from handsfree.demo.play import DemoClock, scenario_files
from handsfree.demo.technician import InventedTechnician
from handsfree.events import inputs as inp
from handsfree.session.playing import AgreeingPlayer
from handsfree.shipped import procedure_path
from handsfree.trades.combustion.stops import fuel_of
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

RATE = 16_000
Answer = Callable[[str, str], str | None]
"""Question kind and gate -> words instead of the invented technician's, or None."""


def tone(seconds: float = 0.25) -> np.ndarray:
    """A short tone; no speech."""
    time = np.arange(int(RATE * seconds)) / RATE
    return (6000 * np.sin(2 * np.pi * 440 * time)).astype(np.int16)


def record_visit(
    folder: Path, *, stop_at: str = "", answer: Answer | None = None, sheet: str | None = None
) -> Path:
    """Record a whole visit, or one that the person stops by voice at a gate; return its folder."""
    job_sheet = scenario_files()[0]
    if sheet is None:
        plan, kept = _usual_plan()
    else:
        own = folder.parent / f".{folder.name}-sheets"
        own.mkdir(parents=True, exist_ok=True)
        shutil.copy(job_sheet.parent / "appliance-24.yaml", own)
        job_sheet = own / "jobsheet.yaml"
        job_sheet.write_text(sheet)
        plan, kept = load_plan(procedure_path("two-rate-combustion"), job_sheet)
    clock = DemoClock()
    recorder, _ = Recorder.begin(folder, plan, kept, clock=clock)
    technician = InventedTechnician(plan, InventedBoiler(fuel_of(plan.sheets)))
    sounds: dict[int, str] = {}  # five, each kept when it is first said: no file lies there that no entry names
    said = 0
    for _ in range(4000):
        if recorder.closed:
            break
        state = recorder.state
        if state.speaking:
            clock.passes(1.2)
            recorder.take(inp.SpeechEnded(at=recorder.now()))
            continue
        if state.status == "stopped":
            clock.passes(3)
            answers = plan.catalogue.answers
            stopped = state.question.kind == "stopped"
            words = answers["close"][0] if stopped else state.question.played(AgreeingPlayer(plan, state))
            recorder.take(inp.Typed(at=recorder.now(), text=words))
            continue
        if state.question.manner.awaits != "answer":
            due = recorder.deadline()
            assert due is not None
            clock.passes(max(due - recorder.now(), 1) / 1000)
            events = recorder.take(inp.TimePassed(at=recorder.now()))
        else:
            clock.passes(technician.seconds_before(state) + 3)
            words = (answer(state.question.kind, state.gate) if answer else None) or technician.answer(state)
            if stop_at and state.gate == stop_at:
                words = "stop stop stop"
            said += 1
            if said % 9 == 0 or "stop" in words:
                events = recorder.take(inp.Typed(at=recorder.now(), text=words))
            else:
                number = said % 5
                if number not in sounds:
                    sounds[number] = recorder.keep_sound(tone(0.2 + 0.01 * number), RATE)
                events = recorder.take(heard(recorder, words.split(), sounds[number]))
        technician.notice(events, recorder.state.now / 1000)
    recorder.release()
    return folder


@cache
def _usual_plan():
    """The plan of the invented job, read once: reading costs more than a short visit."""
    return load_plan(procedure_path("two-rate-combustion"), scenario_files()[0])


def recorded_once() -> Path:
    """Return a folder with `visits` and the `state` of their device, recorded by the first worker that asks.

    In `visits` are one visit that finished (`whole`), one stopped by voice (`stopped`), and a `tampered` copy.
    Nobody may write to them.
    """
    folder = Path(os.environ["HANDSFREE_TESTS_SHARED"]) / "recorded"
    with FileLock(folder.with_suffix(".lock")), pytest.MonkeyPatch.context() as patch:
        if not folder.exists():
            being_made = folder.with_suffix(".being-made")
            patch.setenv("HANDSFREE_STATE", str(being_made / "state"))
            record_visit(being_made / "visits" / "whole")
            record_visit(being_made / "visits" / "stopped", stop_at="minimum-turn")
            tampered_copy(being_made / "visits" / "whole", being_made / "visits" / "tampered")
            being_made.rename(folder)
    return folder


def heard(recorder: Recorder, words: list[str], sound: str) -> inp.Heard:
    """An utterance as if the recogniser had heard it well."""
    now = recorder.now()
    spoken = tuple(
        inp.HeardWord(word=word, start_ms=100 * n, end_ms=100 * n + 90, confidence=Decimal("0.970"))
        for n, word in enumerate(words)
    )
    best = inp.Alternative(words=spoken, score=Decimal("0.000"))
    return inp.Heard(
        at=now, alternatives=(best,), grammar="invented", started=now - 900, ended=now - 400, sound=sound
    )


def tampered_copy(whole: Path, target: Path) -> Path:
    """Copy a visit and change one digit of one accepted reading in the copy, or a word where it has none."""
    shutil.copytree(whole, target)
    ledger = target / "ledger.jsonl"
    lines = ledger.read_bytes().split(b"\n")
    for number, line in enumerate(lines):
        if b'"kind":"reading-accepted"' in line and b'"quantity":"co2"' in line and b'"value":"9.2"' in line:
            lines[number] = line.replace(b'"value":"9.2"', b'"value":"9.4"')
            break
    else:
        lines[5] = lines[5].replace(b"Customer", b"Costumer")
    assert lines != ledger.read_bytes().split(b"\n")
    ledger.write_bytes(b"\n".join(lines))
    return target
