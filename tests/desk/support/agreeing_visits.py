"""A faultless visit of any trade: a player who does what is asked and reads what its instruments show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from handsfree.demo.play import DemoClock
from handsfree.events import inputs as inp
from handsfree.session.playing import AgreeingPlayer
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder


@dataclass
class Faultless(AgreeingPlayer):
    """Reads given values, and answers every choice by the first answer that does not stop the visit."""

    shows: Mapping[str, str] = field(default_factory=dict)

    def value(self, quantity: str) -> str:
        shown = self.shows[quantity]
        return shown if shown.isalpha() else self.plan.numbers.digits(Decimal(shown))

    def calls(self, quantities: tuple[str, ...]) -> str:
        """Call each value with its name: a row of numbers alone may be divided in two ways."""
        names = self.plan.catalogue.quantities
        asked = [ask.quantity for ask in self.scope.only(quantities)]
        return " ".join(f"{names[one].heard[0]} {self.value(one)}" for one in asked)

    def chooses(self) -> str:
        placed = self.plan.gate(self.state.gate)
        on = [
            phrases[0]
            for name, phrases in placed.gate.phrases.items()
            if self.plan.gate(placed.transitions[name]).gate.effects.end != "stop"
        ]
        return on[0]


def record(folder: Path, procedure: Path, job_sheet: Path, shows: Mapping[str, str], most: int = 600) -> Path:
    """Record the visit in a new folder and return that; AssertionError when it does not end."""
    plan, kept = load_plan(procedure, job_sheet)
    clock = DemoClock()
    recorder, _ = Recorder.begin(folder, plan, kept, clock=clock)
    for _ in range(most):
        state = recorder.state
        if recorder.closed:
            break
        if state.speaking:
            clock.passes(1.2)
            recorder.take(inp.SpeechEnded(at=recorder.now()))
        elif state.question.manner.awaits != "answer":
            due = recorder.deadline()
            assert due is not None
            clock.passes(max(due - recorder.now(), 1) / 1000)
            recorder.take(inp.TimePassed(at=recorder.now()))
        else:
            clock.passes(4)
            said = state.question.played(Faultless(plan, state, shows))
            recorder.take(inp.Typed(at=recorder.now(), text=said))
    assert recorder.closed, f"no end at {recorder.state.gate}"
    recorder.release()
    return folder
