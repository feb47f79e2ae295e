"""A recorded visit as the desk reads it: its steps in order, and what was run, taken from the folder alone."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from handsfree.desk.not_asked import reasons
from handsfree.events import decisions as ev
from handsfree.events.record import Event
from handsfree.events.upcasting import opened_in_todays_form
from handsfree.gates.block import Limits
from handsfree.ledger import Entry, read
from handsfree.ledger.chain import LONGEST_LINE
from handsfree.ledger.personal import PersonalFiles, holds_names, names_of
from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import open_regular
from handsfree.session.deciding import possible
from handsfree.session.plan import Plan
from handsfree.trades import DEFAULT_TRADE
from handsfree.visit.folder import plan_of
from handsfree.visit.recorder import EntryReader, own_facts

Kind = TypeVar("Kind")

MISSHAPEN = (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError)
"""What reading a line that is none of ours raises."""


@dataclass(frozen=True)
class RecordedStep:
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
    the sheets kept with the visit cannot be read. `trade` is the one that the visit was opened with.
    """

    folder: Path
    steps: tuple[RecordedStep, ...]
    damage: str = ""
    plan: Plan | None = None
    plan_fault: str = ""
    sounds: frozenset[str] = field(default_factory=frozenset)
    trade: str = DEFAULT_TRADE
    minutes_east: int = 0
    """The local zone at the opening, minutes east of UTC."""

    def all(self, kind: type[Kind]) -> list[tuple[RecordedStep, Kind]]:
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

    @cached_property
    def passed_over(self) -> Mapping[int, str]:
        """Entry -> why a gate was not asked there."""
        return reasons(self.plan, ((step.seq, step.event) for step in self.steps))

    @cached_property
    def possible(self) -> frozenset[str] | None:
        """The gates that a visit with these sheets can come to; None when the procedure cannot be read."""
        return None if self.plan is None else possible(self.plan)

    @property
    def procedure_title(self) -> str:
        """The procedure's title, or its name when it cannot be read."""
        file = self.plan.procedure.file if self.plan is not None else None
        return str(getattr(file, "title", "") or self.opened.procedure)

    @property
    def seconds(self) -> float:
        """How long the visit lasted by its own clock."""
        return self.steps[-1].at / 1000

    def told(self, text: str) -> str:
        """Return a text of the sheets with the names that it commits to, as far as they are still here."""
        return names_of(self.folder).told(text)

    def gate_title(self, gate: str) -> str:
        """Return a gate's title, or its id when it was never entered."""
        return self.titles.get(gate, gate)

    def _block(self, gate: str) -> object | None:
        """Return a gate as its author wrote it; None when the procedure cannot be read or has no such gate."""
        if self.plan is None or gate not in self.plan.procedure.gates:
            return None
        return self.plan.gate(gate).gate

    def rate_of(self, gate: str) -> str:
        """Return the rate that a gate holds or judges; empty for none."""
        return str(getattr(self._block(gate), "rate", None) or "")

    def settles(self, gate: str) -> bool:
        """Say whether a gate's readings must settle; so too when the procedure cannot be read."""
        block = self._block(gate)
        return block is None or getattr(block, "settle", None) is not None

    def wait_of(self, gate: str) -> int | None:
        """Return how many seconds a gate waits before its first reading: its wait or the maker's longer one."""
        settle = getattr(self._block(gate), "settle", None)
        if settle is None or self.plan is None:
            return None
        makers = getattr(self.plan.sheets.appliance, "wait_after_change_seconds", None)
        return max(int(settle.wait_seconds), int(makers or 0))

    @cached_property
    def read(self) -> tuple[str, ...]:
        """The quantities that the procedure reads, called or measured."""
        gates = self.plan.procedure.gates if self.plan else ()
        effects = [getattr(self._block(gate), "effects", None) for gate in gates]
        measured = [name for each in effects for name in getattr(each, "measures", ())]
        return tuple(dict.fromkeys([*self.asked, *measured]))

    @property
    def asks_for_settling(self) -> bool:
        """Whether any gate's readings must settle; so too when the procedure cannot be read."""
        return self.plan is None or any(
            getattr(self._block(gate), "settle", None) is not None for gate in self.plan.procedure.gates
        )

    def needs_of(self, gate: str) -> Mapping[str, str]:
        """Return the things that a gate needs in a state before it is entered, each with that state."""
        needs = getattr(self._block(gate), "needs", None)
        return needs if isinstance(needs, Mapping) else {}

    def points_judged(self, gate: str) -> tuple[str, ...]:
        """Return where the readings are kept that a verdict gate judges."""
        using = getattr(self._block(gate), "using", None)
        return tuple(dict.fromkeys(using.values())) if isinstance(using, Mapping) else ()

    def never_asked_for(self, gate: str) -> bool:
        """Say whether a verdict gate judges readings of a point at which this visit's way never asked for any."""
        ways = [self._kept_at(event.gate) for _, event in self.all(ev.GateEntered)]
        possible = {self._kept_at(each) for each in (self.plan.procedure.gates if self.plan else ())}
        return any(point in possible and point not in ways for point in self.points_judged(gate))

    def _kept_at(self, gate: str) -> str:
        return str(getattr(getattr(self._block(gate), "effects", None), "kept_at", ""))

    def rates_judged(self, gate: str) -> tuple[str, ...]:
        """Return the rates at which the readings are taken that a verdict gate judges."""
        points = self.points_judged(gate)
        gates = self.plan.procedure.gates if self.plan and points else ()
        return tuple(
            sorted(
                {self.rate_of(each) for each in gates if getattr(self._block(each), "point", None) in points}
                - {""}
            )
        )

    def judging(self, calculation: str) -> list[str]:
        """Return the gates of the procedure that carry out a calculation."""
        gates = self.plan.procedure.gates if self.plan else ()
        return [gate for gate in gates if getattr(self._block(gate), "calculation", None) == calculation]

    def judged_by(self, calculations: Sequence[str]) -> bool:
        """Say whether the procedure carries out one of these calculations; with none, whether it judges at all."""
        gates = self.plan.procedure.gates if self.plan else ()
        found = {getattr(self._block(gate), "calculation", None) for gate in gates} - {None}
        return bool(found & set(calculations)) if calculations else bool(found)

    def own_limits(self, gate: str) -> str | None:
        """Return the quantity that a gate judges by limits of its own; None when it has none."""
        limits = getattr(self._block(gate), "limits", None)
        return None if limits is None else str(limits.quantity)

    def limits_on(self, quantity: str, kept_at: str) -> object | None:
        """Return the limits that the procedure itself sets on a quantity kept at a measurement point.

        Of a table they are those that the sheets lead to; None where it has none for this job.
        """
        if self.plan is None:
            return None
        for gate in self.plan.procedure.gates:
            limits = getattr(self._block(gate), "limits", None)
            if limits is not None and limits.quantity == quantity and kept_at in self.points_judged(gate):
                held: Limits = limits.on(self.plan.sheets)
                return None if held.low is None and held.high is None else held
        return None

    @cached_property
    def asked(self) -> tuple[str, ...]:
        """The quantities that the procedure asks for, each once, in order."""
        asks = [
            ask
            for gate in (self.plan.procedure.gates if self.plan else ())
            if self.possible is None or gate in self.possible
            for ask in getattr(self._block(gate), "ask", ())
        ]
        return tuple(dict.fromkeys(ask.quantity for ask in asks))

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


def opened_in(folder: Path) -> tuple[ev.VisitOpened, str]:
    """Return the first event of a record, with the names it commits to as far as they are here, and its time.

    Nothing is verified by it. Raises Problem when the first line is not that of a visit.
    """
    try:
        with open_regular(folder / "ledger.jsonl") as stream:
            first = json.loads(stream.readline(LONGEST_LINE))
        content = names_of(folder).told_in(own_facts(first["event"]))
        return ev.VisitOpened.model_validate(opened_in_todays_form(content)), str(first["at"])
    except (*MISSHAPEN, OSError) as error:
        what = "the first entry is not that of a visit"
        raise Problem(what, where=str(folder), code=ExitCode.FAILED) from error


def load(folder: Path, walked: Sequence[Entry] = ()) -> Recorded:
    """Read a visit's folder; what is damaged is read as far as it goes.

    `walked` are the entries of the record when it was just verified and found whole; else they are read here.
    Raises Problem when the folder holds no record, or nothing in it can be read as a visit.
    """
    steps, damage, minutes_east = _steps(folder, walked)
    if not steps or not isinstance(steps[0].event, ev.VisitOpened):
        raise Problem(damage or "nothing in this record can be read as a visit", where=str(folder))
    plan, fault = None, ""
    try:
        plan = plan_of(folder, steps[0].event.procedure, steps[0].event.language)
    except Problem as problem:
        fault = problem.sentence()
    sound = folder / "sound"
    names = {path.stem for path in sound.glob("*.flac")} if sound.is_dir() else set()
    trade = _trade(steps[0].event, plan)
    return Recorded(folder, tuple(steps), damage, plan, fault, frozenset(names), trade, minutes_east)


def _trade(opened: ev.VisitOpened, plan: Plan | None) -> str:
    """Return the trade that the opening names, else the procedure; the oldest records name none."""
    file = plan.procedure.file if plan is not None else None
    return str(getattr(opened, "trade", None) or getattr(file, "trade", None) or DEFAULT_TRADE)


def _steps(folder: Path, walked: Sequence[Entry]) -> tuple[list[RecordedStep], str, int]:
    steps: list[RecordedStep] = []
    at = minutes_east = 0
    try:
        reader, names = EntryReader(folder), names_of(folder)
        for entry in walked or read(folder):
            event = _event(reader, with_names(entry, names))
            at = int(getattr(event, "at", at))
            minutes_east = int(entry.event.get("utc_offset", 0)) if entry.seq == 0 else minutes_east
            steps.append(RecordedStep(entry.seq, entry.at, at, entry.kind, event))
    except Problem as problem:
        if not steps and problem.code == Problem("").code:
            raise
        return steps, problem.sentence(), minutes_east
    return steps, "", minutes_east


def with_names(entry: Entry, names: PersonalFiles) -> Entry:
    """Return an entry with the names that it commits to, as far as they are still here."""
    return replace(entry, event=names.told_in(entry.event)) if holds_names(entry.line.decode()) else entry


def _event(reader: EntryReader, entry: Entry) -> Event | None:
    try:
        return reader.event(entry)
    except ValidationError:
        return None
