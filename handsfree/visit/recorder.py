"""One visit under way: each input is decided, recorded and only then applied and handed out to be spoken."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from handsfree import __version__
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.earlier import EarlierVisit
from handsfree.events.record import SCHEMA_VERSION, Event, to_record
from handsfree.events.state import State
from handsfree.events.upcasting import Reader
from handsfree.ledger import (
    CLOCK_JUMPED,
    OPENED,
    OWN_MEMBERS,
    RESUMED,
    Clock,
    DeviceKey,
    Entry,
    Head,
    Ledger,
    Moment,
    SystemClock,
    read,
)
from handsfree.ledger.personal import Committed
from handsfree.problem import ExitCode, Problem
from handsfree.session.apply import after, apply
from handsfree.session.decide import decide
from handsfree.session.opening import opened, opening
from handsfree.session.plan import Plan
from handsfree.session.silence import deadline
from handsfree.visit.folder import digests, plan_of
from handsfree.visit.names import names_put_away

LEDGERS_OWN = frozenset({RESUMED, CLOCK_JUMPED})
RESUME_GAP_MS = 1_000
"""A resumed visit's clock goes on this much later: how long the gap was is for the wall clock to say."""

PROGRAM = f"handsfree {__version__}"


class Recorder:
    """A visit with its ledger; the only way in is `take`."""

    def __init__(self, plan: Plan, ledger: Ledger, state: State, clock: Clock, started: int) -> None:
        self.plan, self.state = plan, state
        self._ledger, self._clock, self._started = ledger, clock, started

    @classmethod
    def begin(
        cls,
        folder: Path,
        plan: Plan,
        kept: dict[str, bytes],
        *,
        model_sha256: str | None = None,
        unproven: tuple[str, ...] = (),
        standing: ev.ProcedureStanding | None = None,
        checkpoint: str = "",
        unheard: bool = False,
        clock: Clock | None = None,
        throw_away: Path | None = None,
        hears: bool = False,
        photos: bool = False,
        earlier: tuple[EarlierVisit, ...] = (),
        words: Sequence[Committed] = (),
        enrolled: bool = False,
    ) -> tuple[Recorder, tuple[ev.Decision, ...]]:
        """Open a visit in a new folder; return it with the events of its opening, already on disk.

        `hears` says that somebody is listened to: whether the sound is kept is then told, or asked first.
        `photos` says that there is a way for photos: the phone's page with its keys, or a watched folder. None are
        wanted all the same where the job sheet says so.
        `earlier` are earlier visits to this appliance, and `words` what they commit to. `enrolled` says that the
        technician's enrolment weighs what is heard.
        Names are put away: in the record, and in the plan that leads the visit, stands what commits to them.
        With a folder for a throw-away key the record says that its visit is invented, and is sealed by that key.
        """
        clock = clock or SystemClock()
        moment = clock.now()
        plan, kept, names = names_put_away(plan, kept)
        first = opened(
            plan,
            program=PROGRAM,
            day=_local_day(moment),
            sheets_sha256=digests(kept, plan),
            model_sha256=model_sha256,
            unproven=unproven,
            standing=standing,
            checkpoint=checkpoint,
            unheard=unheard,
            personal=tuple(datum for datum, _ in names),
            hears=hears,
            photos=photos,
            earlier=earlier,
            enrolled=enrolled,
        )
        events = opening(plan, first)
        device = None if throw_away is None else DeviceKey(throw_away, uses=1)
        ledger = Ledger.create(
            folder,
            to_record(first)[1],
            sources=kept,
            personal=[*(one for _, one in names), *words],
            clock=clock,
            state=throw_away,
            device=device,
            demo=throw_away is not None,
        )
        ledger.append([to_record(event) for event in events[1:]])
        return cls(plan, ledger, after(plan, State(), events), clock, moment.mono), events

    @classmethod
    def resume(
        cls, folder: Path, *, approval_fault: str = "", enrolled: bool = False, clock: Clock | None = None
    ) -> tuple[Recorder, tuple[ev.Decision, ...]]:
        """Go on with an interrupted visit; return it with the events of its resumption, already on disk.

        Why its approval no longer holds stands in the record, and that it does not is said.

        Raises Problem when there is nothing to resume, or another program version recorded it.
        """
        clock = clock or SystemClock()
        ledger = Ledger.open(folder, clock=clock)
        try:
            plan, state = _recovered(
                folder, _events(folder, [entry for batch in ledger.batches() for entry in batch])
            )
        except BaseException:
            ledger.release()
            raise
        began = clock.now().mono - state.now - RESUME_GAP_MS
        recorder = cls(plan, ledger, state, clock, began)
        if state.status == "new":
            raise Problem("the visit ended before its first gate", where=str(folder), remedy="begin a new one")
        return recorder, recorder.take(
            inp.Resumed(at=recorder.now(), program=PROGRAM, approval_fault=approval_fault, enrolled=enrolled)
        )

    def now(self) -> int:
        """Return the time of the visit, in ms."""
        return self._clock.now().mono - self._started

    @property
    def folder(self) -> Path:
        """The visit's folder."""
        return self._ledger.folder

    @property
    def closed(self) -> bool:
        """Whether the visit is over."""
        return self.state.status == "closed"

    def head(self) -> Head:
        """Return the count of entries and the checksum of the last."""
        return self._ledger.head()

    def keep_sound(self, samples: Any, rate: int) -> str:
        """Keep an utterance's sound; it is on disk when this returns its name."""
        return self._ledger.keep_sound(samples, rate)

    def keep_personal(self, payload: bytes) -> str:
        """Keep a person's data beside the record; it is on disk when this returns what commits to it."""
        return self._ledger.keep_personal(payload)

    def take(self, event: inp.Input) -> tuple[ev.Decision, ...]:
        """Decide, append and fsync, apply; return the decisions, which may now be spoken."""
        decisions = decide(self.plan, self.state, event)
        self._ledger.append([to_record(one) for one in (event, *decisions)])
        self.state = after(self.plan, apply(self.plan, self.state, event), decisions)
        return decisions

    def deadline(self) -> int | None:
        """Return when the next thing is due if nothing is heard, in ms of the visit."""
        return deadline(self.plan, self.state)

    def release(self) -> None:
        """Give the ledger back; an unfinished visit can then be resumed."""
        self._ledger.release()


def spoken(events: Iterable[Event]) -> list[str]:
    """Return what the events give the tool to say, in order."""
    return [event.text for event in events if isinstance(event, ev.Said | ev.Asked) and event.text]


def _local_day(moment: Moment) -> date:
    return (datetime.fromtimestamp(moment.wall / 1000, UTC) + timedelta(minutes=moment.utc_offset)).date()


def own_facts(opened: Mapping[str, Any]) -> dict[str, Any]:
    """Return the content of a record's first entry without what the ledger adds to it."""
    return {key: value for key, value in opened.items() if key not in OWN_MEMBERS}


class EntryReader:
    """Reads the entries of one record in their order, whichever version wrote them."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._plan: Plan | None = None
        self._reader = Reader(self._gate_kind)

    def event(self, entry: Entry) -> Event | None:
        """Return the session's event of an entry, None for the ledger's own kinds.

        Raises pydantic's ValidationError when it is none of ours.
        """
        if entry.kind in LEDGERS_OWN:
            return None
        content = entry.event
        if entry.kind == OPENED:
            content = own_facts(content)
            self._opened(content)
        return self._reader.event(entry.kind, content)

    def _opened(self, content: Mapping[str, Any]) -> None:
        """Read the procedure of an older record, whose questions need it; without it they stay general."""
        if content.get("schema_version") != SCHEMA_VERSION:
            with suppress(Problem):
                self._plan = plan_of(self._folder, str(content.get("procedure")), _named(content))

    def _gate_kind(self, gate: str) -> str | None:
        if self._plan is None or gate not in self._plan.procedure.gates:
            return None
        return self._plan.gate(gate).gate.kind


def _named(content: Mapping[str, Any]) -> str | None:
    """Return the language that the first entry of a record names, whatever version wrote it."""
    language = content.get("language")
    return language if isinstance(language, str) else None


def recorded_events(folder: Path) -> list[Event]:
    """Return the session's events of a recorded visit, in their order."""
    return _events(folder, read(folder))


def opened_by(folder: Path, events: Sequence[Event]) -> ev.VisitOpened:
    """Return the first event of a record; raise Problem when it does not open a visit."""
    first = events[0] if events else None
    if not isinstance(first, ev.VisitOpened):
        raise Problem("this record does not begin with a visit", where=str(folder), code=ExitCode.FAILED)
    return first


def _events(folder: Path, entries: Iterable[Entry]) -> list[Event]:
    reader = EntryReader(folder)
    found = (reader.event(entry) for entry in entries)
    return [event for event in found if event is not None]


def _recovered(folder: Path, events: Sequence[Event]) -> tuple[Plan, State]:
    """Return the plan and the state of a recorded visit: recovery only applies events."""
    first = opened_by(folder, events)
    if first.schema_version != SCHEMA_VERSION:
        raise Problem(
            f"this visit was recorded by {first.program}, whose events have another form",
            where=str(folder),
            remedy="resume it with that version",
            code=ExitCode.FAILED,
        )
    plan = plan_of(folder, first.procedure, first.language)
    return plan, after(plan, State(), tuple(events))


def recorded_state(folder: Path) -> tuple[Plan, State]:
    """Return the plan and the last state of a recorded visit; nothing is written."""
    return _recovered(folder, recorded_events(folder))
