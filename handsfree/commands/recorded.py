"""Recorded visits for the authors: the path a visit walked, and whether it would go otherwise now."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from handsfree.events import decisions as ev
from handsfree.events.inputs import is_input
from handsfree.events.record import Event
from handsfree.events.state import State
from handsfree.problem import Problem
from handsfree.procedure.drawing import Stay
from handsfree.procedure.moves import MachineError
from handsfree.procedure.procedure import Procedure
from handsfree.session.apply import after, apply
from handsfree.session.decide import decide
from handsfree.session.opening import opening
from handsfree.session.plan import Plan
from handsfree.visit.folder import plan_of
from handsfree.visit.recorder import opened_by, recorded_events


def stays_of(folder: Path, procedure: Procedure) -> tuple[Stay, ...]:
    """Return the gates a visit entered, in order, with the seconds at each and how each was left.

    Raises Problem when the folder holds no visit, or a visit of another procedure.
    """
    events = recorded_events(folder)
    opened = opened_by(folder, events)
    if opened.procedure != procedure.name:
        what = f"this is a visit of {opened.procedure}, not of {procedure.name}"
        raise Problem(what, where=str(folder), remedy="draw that procedure")
    stays: list[Stay] = []
    last = 0
    for event in events:
        last = max(last, getattr(event, "at", 0))
        if isinstance(event, ev.GateEntered):
            stays = _left(stays, event.at)
            stays.append(Stay(event.gate, event.at / 1000))
        elif isinstance(event, ev.GatePassed) and stays:
            stays[-1] = Stay(event.gate, stays[-1].seconds, event.outcome)
    return tuple(_left(stays, last))


def _left(stays: list[Stay], at: int) -> list[Stay]:
    """Turn the time of entry that the last stay holds into the seconds it took."""
    return [*stays[:-1], Stay(stays[-1].gate, at / 1000 - stays[-1].seconds, stays[-1].outcome)] if stays else []


def visits_differently(folder: Path, procedure: Procedure) -> list[str]:
    """Return a line for each recorded visit under the folder: whether the new procedure leads it alike.

    The recorded inputs, words and times, are decided again under the new procedure and the visit's own sheets.
    """
    lines = []
    folders = sorted(path.parent for path in folder.rglob("ledger.jsonl"))
    if not folders:
        raise Problem("there is no visit under this folder", where=str(folder))
    for visit in folders:
        try:
            lines.append(f"{visit.name}: {_told(visit, procedure)}")
        except Problem as problem:
            lines.append(f"{visit.name}: cannot be replayed: {problem.what}")
    return lines


def _told(folder: Path, procedure: Procedure) -> str:
    events = recorded_events(folder)
    opened = opened_by(folder, events)
    if opened.procedure != procedure.name:
        return f"a visit of {opened.procedure}; not compared"
    was = [_step(event) for event in events if isinstance(event, ev.GatePassed | ev.Stopped)]
    plan = Plan(procedure, plan_of(folder, opened.procedure, opened.language).sheets).check()
    now = [_step(event) for event in _decided(plan, opened, events)]
    for number, (before, after_) in enumerate(zip(was, now, strict=False)):
        if before != after_:
            where = was[number - 1][0] if number else "the start"
            return f"goes otherwise after {where}: {_said(before)} was, {_said(after_)} would be"
    if len(now) < len(was):
        last = now[-1][0] if now else "the start"
        return f"would still stand at the gate after {last}, before {_said(was[len(now)])}"
    if len(now) > len(was):
        return f"would have gone on: {_said(now[len(was)])}"
    return f"goes alike ({len(was)} gates passed)"


_Step = tuple[str, str]


def _step(event: ev.GatePassed | ev.Stopped) -> _Step:
    return (
        (event.gate, event.outcome) if isinstance(event, ev.GatePassed) else (event.gate, f"stopped: {event.why}")
    )


def _said(step: _Step) -> str:
    return f'{step[0]} on "{step[1]}"'


def _decided(plan: Plan, opened: ev.VisitOpened, events: list[Event]) -> Iterator[ev.GatePassed | ev.Stopped]:
    """Yield the gates passed and the stops that the recorded inputs lead to under another plan."""
    decided = opening(plan, opened)
    state = after(plan, State(), decided)
    for event in decided:
        if isinstance(event, ev.GatePassed | ev.Stopped):
            yield event
    for came in events:
        if not is_input(came) or state.status == "closed":
            continue
        try:
            decided = decide(plan, state, came)
            state = after(plan, apply(plan, state, came), decided)
        except (AssertionError, MachineError, KeyError) as error:
            raise Problem(f"its inputs do not fit: {error}", where=plan.procedure.name) from error
        for one in decided:
            if isinstance(one, ev.GatePassed | ev.Stopped):
                yield one
