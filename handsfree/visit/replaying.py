"""Deciding a recorded visit again: the procedure and the recorded inputs must give the recorded events."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from pydantic import ValidationError

from handsfree.events import decisions as ev
from handsfree.events.inputs import Input, is_input
from handsfree.events.record import Event, to_record
from handsfree.events.state import State
from handsfree.ledger import Difference, Entry, Replay
from handsfree.plain import plainly
from handsfree.session.apply import apply
from handsfree.session.decide import Decided, steps
from handsfree.session.opening import opening
from handsfree.session.plan import Plan
from handsfree.session.version import DECISION_VERSION
from handsfree.visit.folder import plan_of
from handsfree.visit.recorder import EntryReader


def replay_of(folder: Path) -> Replay:
    """Return what decides the visit of a folder again, batch by batch."""

    def replay(batches: Iterator[tuple[Entry, ...]]) -> Sequence[Difference]:
        return tuple(_Replay(folder).differences(batches))

    return replay


class _Replay:
    """One pass over the batches; it stops at the first difference, since all after it hangs on that."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._reader = EntryReader(folder)
        self._plan: Plan | None = None
        self._state = State()
        self._due: list[Decided] = []
        """What follows from the last input and has not come yet."""
        self._same_version = True

    def differences(self, batches: Iterator[tuple[Entry, ...]]) -> Iterator[Difference]:
        last = 0
        for batch in batches:
            for entry in batch:
                last = entry.seq
                why = self._follow(entry)
                if why is not None:
                    yield Difference(entry.seq, why, self._same_version)
                    return
        if self._due and self._state.status == "closed":
            yield Difference(last, f"{self._due[0][0].kind!r} is missing", self._same_version)

    def _follow(self, entry: Entry) -> str | None:
        """Compare one entry with what is due, and take inputs in; return what is different."""
        try:
            if self._due and to_record(self._due[0][0]) == (entry.kind, entry.event):
                self._state = self._due.pop(0)[1]  # to the last letter what follows from the inputs
                return None
            event = self._reader.event(entry)
            if event is None:
                return None
            if isinstance(event, ev.VisitOpened):
                return self._open(event)
            if is_input(event):
                return self._input(event)
            return self._decision(entry, event)
        except Exception as error:  # noqa: BLE001 - the record is anybody's: whatever it provokes is told of it
            return f"{entry.kind!r} cannot stand here: {_short(error)}"

    def _open(self, event: ev.VisitOpened) -> str | None:
        self._same_version = event.decision_version == DECISION_VERSION
        self._plan = plan_of(self._folder, event.procedure, event.language)
        if self._plan.procedure.version() != event.procedure_sha256:
            return "the procedure in the folder is not the one that was run"
        first, *rest = opening(self._plan, event)
        self._state = state = apply(self._plan, self._state, first)
        for each in rest:
            state = apply(self._plan, state, each)
            self._due.append((each, state))
        return None

    def _input(self, event: Input) -> str | None:
        if self._due and event.kind != "resumed":
            return f"{self._due[0][0].kind!r} should stand here"
        assert self._plan is not None
        self._due = list(steps(self._plan, self._state, event))
        self._state = apply(self._plan, self._state, event)
        return None

    def _decision(self, entry: Entry, event: Event) -> str | None:
        if not self._due:
            return f"{entry.kind!r} does not follow from the inputs"
        assert self._plan is not None
        due, _ = self._due.pop(0)
        kind, content = to_record(due)
        if kind != event.kind:
            return f"{kind!r} follows from the inputs, not {event.kind!r}"
        recorded = to_record(event)[1]
        for name, value in content.items():
            if recorded.get(name) != value:
                return f"{name} of {kind!r} is {recorded.get(name)!r}, but {value!r} follows from the inputs"
        self._state = apply(self._plan, self._state, event)
        return None


def _short(error: Exception) -> str:
    """Return what is wrong in one line; of many faults in an entry the first, since the others follow from it."""
    if isinstance(error, ValidationError):
        first, *others = error.errors()
        place = ".".join(map(str, first["loc"]))
        return f"{place}: {plainly(first)}" + (f", and {len(others)} more" if others else "")
    return str(error).splitlines()[0] if str(error) else type(error).__name__
