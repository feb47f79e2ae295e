"""The invented technician's visit, recorded on a real disk with a real ledger and a clock that is told."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from rehearsed import JOB_SHEET, PROCEDURE, technician

from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.ledger import Moment
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder


@dataclass
class ToldClock:
    """A clock that stands still until it is moved."""

    mono: int = 5_000_000
    wall: int = 1_795_000_000_000
    boot: str = "boot-1"

    def now(self) -> Moment:
        return Moment(self.wall, self.mono, self.boot)

    def pass_ms(self, milliseconds: int) -> None:
        self.mono += milliseconds
        self.wall += milliseconds


@dataclass
class Recorded:
    """A recorded visit: where it is, the state at its end, and copies made at some inputs."""

    folder: Path
    state: State
    inputs: int
    copies: dict[int, tuple[Path, State]] = field(default_factory=dict)


def record(base: Path, *, copy_at: Iterable[int] = (), most: int = 5000) -> Recorded:
    """Record the visit under `base`/visit with keys under `base`/state; copy both at the inputs named."""
    clock, wanted = ToldClock(), set(copy_at)
    plan, kept = load_plan(PROCEDURE, JOB_SHEET)
    folder = base / "visit"
    recorder, opening = Recorder.begin(folder, plan, kept, clock=clock)
    person, found = technician(plan), Recorded(folder, recorder.state, 0)
    person.notice(opening, 0)

    def take(event: inp.Input) -> None:
        person.notice(recorder.take(event), recorder.state.now / 1000)
        found.inputs += 1
        if found.inputs in wanted:
            place = base / f"copy-{found.inputs}"
            shutil.copytree(base, place, ignore=shutil.ignore_patterns("copy-*"))
            found.copies[found.inputs] = (place, recorder.state)

    while not recorder.closed and found.inputs < most:
        clock.pass_ms(1200)
        state = recorder.state
        if state.speaking:
            take(inp.SpeechEnded(at=recorder.now()))
        elif state.question.manner.awaits != "answer":
            due = recorder.deadline()
            assert due is not None
            clock.pass_ms(max(0, due - recorder.now()))
            take(inp.TimePassed(at=recorder.now()))
        else:
            clock.pass_ms(round(1000 * person.seconds_before(state)))
            take(inp.Typed(at=recorder.now(), text=person.answer(state)))
    found.state = recorder.state
    recorder.release()
    return found
