"""How a visit ended and what stands open after it, told by the events and the procedure alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from handsfree.desk import wording
from handsfree.desk.record import Recorded, RecordedStep
from handsfree.desk.spans import Alteration, alterations
from handsfree.events import decisions as ev
from handsfree.gates.outcomes import NOT_ASKED, NOT_DONE
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE

EndKind = Literal["finished", "incomplete", "left-off", "stopped", "open", "damaged"]
"""Finished; at its end without what it was for; stopped and left off with all reported as it should be; stopped
and something left open; not closed; cannot be read to its end."""

_KINDS: dict[str, EndKind] = {"finished": "finished", "incomplete": "incomplete", "made-safe": "left-off"}


@dataclass(frozen=True)
class StopTold:
    """One stop: what it was in words, at which gate, and how the work went on after it (empty: it did not)."""

    why: str
    gate: str
    order: str
    seq: int
    at: int
    hazards: tuple[str, ...] = ()
    by_values: bool = False
    resumed: str = ""
    resumed_seq: int | None = None

    @property
    def taken_back(self) -> bool:
        """Whether the work went on because a person said that it was no stop."""
        return self.resumed in wording.TAKEN_BACK


@dataclass(frozen=True)
class LeftOut:
    """A gate whose last passage left it undone, and the reason in words."""

    gate: str
    title: str
    reason: str
    seq: int
    at: int


@dataclass(frozen=True)
class VisitEnd:
    """What can be said of the end of a visit."""

    kind: EndKind
    last_gate: str
    """The title of the gate where it ended."""
    stops: tuple[StopTold, ...]
    left: tuple[Alteration, ...]
    """What was altered and not put back."""
    left_out: tuple[LeftOut, ...]
    not_asked: tuple[LeftOut, ...]
    """Gates last passed over, each with what the sheets or the answers say against asking it."""
    lacking: tuple[ev.Lacking, ...]
    """What the visit was for and did not show; known once it is closed."""
    without_value: tuple[str, ...]
    """Quantities whose last reading was no number, each with what the display showed."""
    never_read: tuple[str, ...]
    """Quantities that the procedure asks for and nobody read; of a visit that did not come to its end."""
    never_reached: tuple[str, ...]
    """Titles of gates that lay ahead where it ended, each once."""

    @property
    def came_to_its_end(self) -> bool:
        """Whether the procedure was gone through, with what it was for or without."""
        return ev.at_its_end(self.kind)

    @property
    def in_force(self) -> tuple[StopTold, ...]:
        """The stops after which the work did not go on."""
        return tuple(stop for stop in self.stops if not stop.resumed)


def ending_of(recorded: Recorded) -> VisitEnd:
    """Return how a visit ended."""
    kind = _kind(recorded)
    ended = ev.at_its_end(kind)
    closed = recorded.closed
    return VisitEnd(
        kind=kind,
        last_gate=_last_gate(recorded),
        stops=_stops(recorded),
        left=tuple(span for span in alterations(recorded) if span.until is None),
        left_out=_left_out(recorded),
        not_asked=_not_asked(recorded),
        lacking=closed.lacking if closed is not None and kind != "finished" else (),
        without_value=_without_value(recorded),
        never_read=() if ended else _never_read(recorded),
        never_reached=() if ended else _never_reached(recorded),
    )


def _kind(recorded: Recorded) -> EndKind:
    if recorded.damage:
        return "damaged"
    closed = recorded.closed
    return "open" if closed is None else _KINDS.get(closed.outcome, "stopped")


def _last_gate(recorded: Recorded) -> str:
    entered = recorded.all(ev.GateEntered)
    return entered[-1][1].title if entered else "the opening"


def _stops(recorded: Recorded) -> tuple[StopTold, ...]:
    told: list[StopTold] = []
    for step in recorded.steps:
        match step.event:
            case ev.Stopped() as stop:
                told.append(
                    StopTold(
                        why_stopped(recorded, stop),
                        recorded.gate_title(stop.gate),
                        stop.script,
                        step.seq,
                        step.at,
                        stop.hazards,
                        stop.by == "values",
                    )
                )
            case ev.ReEntered(how=how) if how != "relit":
                told = _gone_on(told, wording.RE_ENTRY[how], step)
            case ev.StepReported(leads="off"):
                told = _refused(told, recorded, step)
            case ev.Cleared(reason=reason):
                told = _gone_on(told, f"the technician said it was cleared: {reason or 'kept as sound'}", step)
            case _:
                pass
    return tuple(told)


def why_stopped(recorded: Recorded, stop: ev.Stopped) -> str:
    """Return why the work stopped, in words; of a limit that was passed, with the value and the limit."""
    if stop.why != "limit":
        return wording.stop(stop.why, stop.detail)
    if recorded.plan is None:
        return f"a limit was passed ({wording.with_units(stop.detail.partition(' ')[2])})"
    return recorded.plan.catalogue.limit_passed(stop.detail)


def _gone_on(stops: list[StopTold], how: str, step: RecordedStep) -> list[StopTold]:
    return [
        stop if stop.resumed else StopTold(**{**vars(stop), "resumed": how, "resumed_seq": step.seq})
        for stop in stops
    ]


def _refused(stops: list[StopTold], recorded: Recorded, step: RecordedStep) -> list[StopTold]:
    """Return the stops once a step on the way back was answered so that nothing goes on: the last one is in force.

    What went out by itself was no stop before.
    """
    if not stops:
        return [
            StopTold("it could not be put into service again", _gate_at(recorded, step), "", step.seq, step.at)
        ]
    return [*stops[:-1], replace(stops[-1], resumed="", resumed_seq=None)]


def _gate_at(recorded: Recorded, step: RecordedStep) -> str:
    entered = [event.title for one, event in recorded.all(ev.GateEntered) if one.seq < step.seq]
    return entered[-1] if entered else "the opening"


def _left_out(recorded: Recorded) -> tuple[LeftOut, ...]:
    """Return the gates last passed undone; one that was done later is not among them."""
    found: dict[str, LeftOut] = {}
    for step in recorded.steps:
        match step.event:
            case ev.NotDone(gate=gate, reason=reason):
                found[gate] = LeftOut(gate, recorded.gate_title(gate), wording.reason(reason), step.seq, step.at)
            case ev.GatePassed(gate=gate, outcome=outcome) if outcome != NOT_DONE:
                found.pop(gate, None)
            case _:
                pass
    return tuple(found.values())


def _not_asked(recorded: Recorded) -> tuple[LeftOut, ...]:
    """Return the gates last passed over; one that was asked later is not among them."""
    found: dict[str, LeftOut] = {}
    for step, event in recorded.all(ev.GatePassed):
        found.pop(event.gate, None)
        if event.outcome == NOT_ASKED:
            title, why = recorded.gate_title(event.gate), recorded.passed_over[step.seq]
            found[event.gate] = LeftOut(event.gate, title, why, step.seq, step.at)
    return tuple(found.values())


def _without_value(recorded: Recorded) -> tuple[str, ...]:
    last = {event.reading.quantity: event.reading.value for _, event in recorded.all(ev.ReadingAccepted)}
    shown = {NO_READING: "no value", OVER_RANGE: "more than its range"}
    return tuple(
        f"{wording.quantity(name)}: the display showed {shown[value]}"
        for name, value in last.items()
        if value in shown
    )


def _never_read(recorded: Recorded) -> tuple[str, ...]:
    read = {event.reading.quantity for _, event in recorded.all(ev.ReadingAccepted)}
    return tuple(wording.quantity(name) for name in recorded.asked if name not in read)


def _never_reached(recorded: Recorded) -> tuple[str, ...]:
    """Return what the procedure could still have come to and asked; some of it is asked only when needed."""
    entered = {event.gate for _, event in recorded.all(ev.GateEntered)}
    gates = recorded.plan.procedure.gates if recorded.plan is not None else {}
    here = next((event.gate for _, event in reversed(recorded.all(ev.GateEntered))), "")
    seen, ahead = {here}, [here]
    while ahead:
        placed = gates.get(ahead.pop())
        for to in () if placed is None else placed.transitions.values():
            if to not in seen:
                seen.add(to)
                ahead.append(to)
    if recorded.possible is not None:
        seen &= recorded.possible
    titles = (placed.gate.title for gate, placed in gates.items() if gate in seen - entered and _asks(placed.gate))
    return tuple(title for title in dict.fromkeys(titles) if title not in recorded.titles.values())


def _asks(gate: object) -> bool:
    """Say whether a gate asks something of a person: no verdict, no advice, no stop."""
    effects = getattr(gate, "effects", None)
    return effects is not None and effects.end is None and effects.judges is None
