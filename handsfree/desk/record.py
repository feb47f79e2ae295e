"""A recorded visit as the desk reads it: its steps in order, and what was run, taken from the folder alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from handsfree.events import decisions as ev
from handsfree.events.record import Event
from handsfree.ledger import Entry, read
from handsfree.problem import Problem
from handsfree.session.plan import Plan
from handsfree.visit.folder import plan_of
from handsfree.visit.recorder import EntryReader

Kind = TypeVar("Kind")


@dataclass(frozen=True)
class Step:
    """One entry: its number, the wall clock, the visit's own clock in ms, and the session's event.

    `event` is None for the ledger's own kinds and for entries that are not events of this version.
    """

    seq: int
    wall: str
    at: int
    kind: str
    event: Event | None


@dataclass(frozen=True)
class Recorded:
    """All that stands in a visit's folder.

    `damage` says where reading had to stop, `plan` is None (and `plan_fault` says why) when the procedure or
    the sheets kept with the visit cannot be read.
    """

    folder: Path
    steps: tuple[Step, ...]
    damage: str = ""
    plan: Plan | None = None
    plan_fault: str = ""
    sounds: frozenset[str] = field(default_factory=frozenset)

    def all(self, kind: type[Kind]) -> list[tuple[Step, Kind]]:
        """Return the events of a class with their steps, in order."""
        return [(step, step.event) for step in self.steps if isinstance(step.event, kind)]

    @cached_property
    def opened(self) -> ev.VisitOpened:
        """The facts the visit was opened with."""
        opened = self.steps[0].event
        assert isinstance(opened, ev.VisitOpened)
        return opened

    @cached_property
    def closed(self) -> ev.VisitClosed | None:
        """The close, when there is one."""
        last = self.steps[-1].event
        return last if isinstance(last, ev.VisitClosed) else None

    @cached_property
    def titles(self) -> dict[str, str]:
        """Gate -> its title, of the gates that were entered."""
        return {event.gate: event.title for _, event in self.all(ev.GateEntered)}

    @property
    def seconds(self) -> float:
        """How long the visit lasted by its own clock."""
        return self.steps[-1].at / 1000

    def gate_title(self, gate: str) -> str:
        """Return a gate's title, or its id when it was never entered."""
        return self.titles.get(gate, gate)

    def thing_named(self, thing: str) -> str:
        """Return a thing as the tool says it."""
        if self.plan is not None and thing in self.plan.things:
            return self.plan.things[thing].said
        return thing.replace("-", " ").capitalize()

    def thing_state(self, thing: str, *, altered: bool) -> str:
        """Return the word for a thing's changed or restored state."""
        if self.plan is not None and thing in self.plan.things:
            known = self.plan.things[thing]
            return known.altered if altered else known.restored
        return "altered" if altered else "restored"


def load(folder: Path) -> Recorded:
    """Read a visit's folder; what is damaged is read as far as it goes.

    Raises Problem when the folder holds no record, or nothing in it can be read as a visit.
    """
    steps, damage = _steps(folder)
    if not steps or not isinstance(steps[0].event, ev.VisitOpened):
        raise Problem(damage or "nothing in this record can be read as a visit", where=str(folder))
    plan, fault = None, ""
    try:
        plan = plan_of(folder, _plain(steps[0].event.procedure))
    except Problem as problem:
        fault = problem.sentence()
    sound = folder / "sound"
    names = {path.stem for path in sound.glob("*.flac")} if sound.is_dir() else set()
    return Recorded(folder, tuple(steps), damage, plan, fault, frozenset(names))


def _plain(procedure: str) -> str:
    if set(procedure) & {"/", "\\", "\0"} or procedure.startswith("."):
        raise Problem("the record names a procedure that is no plain name", where=procedure[:80])
    return procedure


def _steps(folder: Path) -> tuple[list[Step], str]:
    steps: list[Step] = []
    at = 0
    try:
        reader = EntryReader(folder)
        for entry in _entries(folder):
            event = _event(reader, entry)
            at = int(getattr(event, "at", at))
            steps.append(Step(entry.seq, entry.at, at, entry.kind, event))
    except Problem as problem:
        if not steps and problem.code == Problem("").code:
            raise
        return steps, problem.sentence()
    return steps, ""


def _entries(folder: Path) -> Iterator[Entry]:
    yield from read(folder)


def _event(reader: EntryReader, entry: Entry) -> Event | None:
    try:
        return reader.event(entry)
    except ValidationError:
        return None
