"""A watched visit without a disk: a rehearsal that looks like a recorder."""

from __future__ import annotations

from dataclasses import dataclass, field

from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.glance.watching import LiveScreen
from handsfree.ledger import Head
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal


@dataclass
class Told:
    """A rehearsal with the side that a screen looks at; its clock goes on by what is passed."""

    rehearsal: Rehearsal
    passed: int = 0
    live: LiveScreen = field(init=False)

    def __post_init__(self) -> None:
        self.live = LiveScreen(self, listening=True, words=False)
        self.live.saw(self.rehearsal.events)

    @property
    def plan(self) -> Plan:
        return self.rehearsal.plan

    @property
    def state(self) -> State:
        return self.rehearsal.state

    def now(self) -> int:
        return self.rehearsal.state.now + self.passed

    def head(self) -> Head:
        return Head(len(self.rehearsal.events), "5e" * 32)

    def turn(self) -> str | None:
        """Do as the conductor does at a turn: take what the keys come to."""
        self.live.picture()
        self.passed += 1_500
        text = self.live.line()
        if text is not None:
            event = inp.Typed(at=self.now(), text=text)
            self.passed = 0
            self.live.saw((event, *self.rehearsal.take(event)))
        return text
