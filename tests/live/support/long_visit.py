"""A visit as long as wanted: a procedure of many readings, and an invented person who answers its questions.

The person sees the state of the visit, as somebody does who follows the tool's questions, and the displays
in front of them. Words that are misheard are corrected as a person would; nothing is handed past the recogniser.
"""

from __future__ import annotations

import random
import zlib
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from handsfree.demo.technician import InventedTechnician
from handsfree.events.state import State
from handsfree.session.plan import Plan

RANGES = {
    "flow_temperature": (40, 79, 0),
    "return_temperature": (30, 59, 0),
    "air_temperature": (11, 29, 0),
    "set_point": (45, 69, 0),
    "water_pressure": (11, 29, 1),
    "standing_pressure": (181, 249, 1),
}
"""What each display may show: least and greatest last digit's count, and decimals. No stop limit is near."""
STEADY_S = 240
"""A display stays the same for so long: a value that is called twice is the same twice."""
AGAIN, ENOUGH = "again", "enough"
MOST_ROUNDS = 50
"""The language allows a loop no more."""
ASIDES = ("repeat", "where am i", "what is left", "hold on")


def write_procedure(folder: Path, gates: int, *, cover: bool = True) -> Path:
    """Write a procedure of so many readings, gone through again and again, none at a firing gate.

    A cover comes off before and goes on after, unless left out.
    """
    names = list(RANGES)
    readings = [
        f"  - {{id: reading-{n}, kind: readings, title: Reading {n}, prompt: Reading?, point: reading-{n},"
        " source: invented,"
        f" ask: [{{quantity: {names[n % len(names)]}}}]%s}}"
        for n in range(gates)
    ]
    readings[0] %= f", at_most: {MOST_ROUNDS}, exhausted: cover-on"
    readings[1:] = [line % "" for line in readings[1:]]
    first = """  - {id: cover-off, kind: confirm, title: Cover off, source: invented, prompt: Cover off.,
     done: [cover removed], alters: [cover], not_done: false}
"""
    path = folder / "long-visit.yaml"
    path.write_text(
        f"""handsfree: 2
procedure: long-visit
title: A long visit
purpose: Keep the recogniser, the record and the memory busy for hours.
things:
  cover: {{said: Cover, altered: removed, restored: fitted}}
gates:
{first if cover else ""}{chr(10).join(readings)}
  - id: round
    kind: choice
    title: Another round
    source: invented
    prompt: Another round?
    not_done: cover-on
    answers:
      {AGAIN}: {{heard: [go through again], then: reading-0}}
      {ENOUGH}: {{heard: [that is all], then: cover-on}}
  - {{id: cover-on, kind: restore, title: Cover on, source: invented, things: [cover]}}
  - {{id: finish, kind: finish, title: Finish, source: invented}}
""",
        "utf-8",
    )
    return path


class Displays:
    """Instruments in place of the demo's boiler: for each quantity and stretch of time the same number ever."""

    def reads(self, quantity: str, _rate: str, seconds: float) -> Decimal:
        """Return what is shown at a time of the visit, in seconds."""
        low, high, decimals = RANGES[quantity]
        count = low + zlib.crc32(f"{quantity} {seconds // STEADY_S:.0f}".encode()) % (high - low + 1)
        return Decimal(count).scaleb(-decimals)


def at_gate(plan: Plan, state: State) -> bool:
    """Say whether the gate's own first question is open."""
    return state.question in plan.gate(state.gate).gate.questions(plan.scope(state.gate))[:1]


@dataclass
class Person(InventedTechnician):
    """Answers, and now and then says something else instead."""

    boiler: Displays = field(default_factory=Displays)
    dice: random.Random = field(default_factory=lambda: random.Random(5))

    def says(self, state: State, aside: float) -> str:
        """Return what is said next; something else with the chance `aside` at a gate's own question."""
        if state.held_since is not None:
            return self.plan.catalogue.everywhere["carry-on"][0]
        if at_gate(self.plan, state) and self.dice.random() < aside:
            return self.dice.choice(ASIDES)
        return self.answer(state)

    def goes_on(self, another: bool) -> None:
        """Decide what is answered at the end of a round."""
        self.chosen["round"] = AGAIN if another else ENOUGH


def person_for(plan: Plan) -> Person:
    """Return the person of a visit on this plan."""
    return Person(plan, Displays())
