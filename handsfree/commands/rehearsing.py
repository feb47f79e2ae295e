"""Rehearsing a procedure without sound: from a script of words, printed as a dialogue."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.demo.play import scenario_files
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.yaml_reader import read_document
from handsfree.session import events as ev
from handsfree.session.rehearsal import Rehearsal
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan

app = typer.Typer(help="Rehearsals.")

STEPS = "each step is words to say, or one of: wait: SECONDS, expect: GATE, ends: finished|stopped"


@app.command()
def rehearse(
    procedure: Annotated[str, typer.Argument(help="A procedure by file, or by name when it is a shipped one.")],
    *,
    script: Annotated[
        Path, typer.Option("--script", help="A YAML list of what is said; waits pass by themselves.")
    ],
    jobsheet: Annotated[
        Path | None, typer.Option("--jobsheet", help="A job sheet; the demo's when left out.")
    ] = None,
    day: Annotated[
        str | None, typer.Option(help="The day of the visit, for calibration dates: 2026-11-25.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print every event as a line of JSON.")] = False,
) -> None:
    """Run a procedure from a script of words, without sound and in no time; a false expectation fails."""
    plan, _ = load_plan(procedure_path(procedure), jobsheet or scenario_files()[0])
    document = read_document(script)
    if not isinstance(document.content, list):
        raise Problem("a script is a list of steps", where=f"{script}:1", remedy=STEPS)
    rehearsal = Rehearsal(plan, _day(day))
    shown = 0
    for number, step in enumerate(document.content):
        shown = _show(rehearsal, shown, as_json=as_json)
        _step(rehearsal, step, str(document.place((number,))), as_json=as_json)
    _show(rehearsal, shown, as_json=as_json)
    if not as_json:
        altered = ", ".join(plan.things[thing].said for thing in rehearsal.state.altered) or "nothing"
        typer.echo(f"\nEnds {rehearsal.state.status} at {rehearsal.state.gate}. Altered: {altered}.")


def _step(rehearsal: Rehearsal, step: Any, where: str, *, as_json: bool) -> None:
    """Do one step of the script."""
    if isinstance(step, dict) and len(step) == 1:
        ((name, value),) = step.items()
        if name == "wait":
            rehearsal.wait(float(value))
            return
        rehearsal.until_asking()
        if name == "expect":
            _expected(rehearsal.state.gate, value, where)
            return
        if name == "ends":
            ended = "finished" if rehearsal.over and rehearsal.state.gate == "finished" else rehearsal.state.status
            _expected(ended, value, where)
            return
        raise Problem(f"there is no step {name!r}", where=where, remedy=STEPS)
    rehearsal.until_asking()
    if rehearsal.over:
        raise Problem("the visit is over before this step", where=where, code=ExitCode.FAILED)
    if not as_json:
        typer.echo(f"{'Technician':>12}  {step}")
    rehearsal.say(str(step))


def _expected(found: str, wanted: object, where: str) -> None:
    if found != wanted:
        raise Problem(f"expected {wanted}, but it is {found}", where=where, code=ExitCode.FAILED)


def _show(rehearsal: Rehearsal, shown: int, *, as_json: bool) -> int:
    """Print what has happened since; return how much was printed."""
    for event in rehearsal.events[shown:]:
        if as_json:
            kind, content = ev.to_record(event)
            typer.echo(json.dumps({"kind": kind, **content}))
        elif isinstance(event, ev.Said | ev.Asked) and event.text:
            typer.echo(f"{'Tool':>12}  {event.text}")
        elif isinstance(event, ev.GateEntered):
            typer.echo(f"-- {event.gate}: {event.title}")
    return len(rehearsal.events)


def _day(text: str | None) -> date:
    try:
        return datetime.now(UTC).date() if text is None else date.fromisoformat(text)
    except ValueError as error:
        raise Problem(f"{text!r} is no day", where="--day", remedy="write it as 2026-11-25") from error
