"""Rehearsing a procedure at a desk: by script, by typing, at random, or its phrases spoken and heard."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from handsfree.commands.general_recogniser import AskGeneral, GeneralModel, plan_to_ask
from handsfree.demo.play import scenario_files
from handsfree.documents import read_document
from handsfree.events import decisions as ev
from handsfree.events.record import to_record
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.session.exploring import explore_randomly
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan

if TYPE_CHECKING:
    from handsfree.hearing.general.weights import GeneralPlan

app = typer.Typer(help="Rehearsals.")

STEPS = "each step is words to say, or one of: wait: SECONDS, expect: GATE, ends: finished|incomplete|stopped"


@app.command()
def rehearse(
    procedure: Annotated[str, typer.Argument(help="A procedure by file, or by name when it is a shipped one.")],
    *,
    script: Annotated[
        Path | None, typer.Option("--script", help="A YAML list of what is said; waits pass by themselves.")
    ] = None,
    explorers: Annotated[
        int, typer.Option("--random", min=0, help="So many random visits; prints what they covered.")
    ] = 0,
    ways: Annotated[
        int,
        typer.Option("--ways", min=0, max=100, help="With --random: fail below this share of ways, in percent."),
    ] = 0,
    seed: Annotated[int, typer.Option(help="The first explorer's seed; the next ones count up.")] = 1,
    aloud: Annotated[
        bool, typer.Option("--aloud", help="Speak every phrase and hear it where it is accepted.")
    ] = False,
    noise: Annotated[
        float | None, typer.Option(help="With --aloud: signal over white noise, in dB; quiet when left out.")
    ] = None,
    ask_general: AskGeneral = True,
    general_model: GeneralModel = None,
    jobsheet: Annotated[
        Path | None, typer.Option("--jobsheet", help="A job sheet; an invented one when left out.")
    ] = None,
    day: Annotated[
        str | None, typer.Option(help="The day of the visit, for calibration dates: 2026-11-25.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print every event as a line of JSON.")] = False,
) -> None:
    """Try a procedure at a desk: by script (a false expectation fails), else by what you type.

    While typing, an empty line lets the time pass until something is due, and "quit" ends the rehearsal.
    """
    path = procedure_path(procedure)
    plan, _ = load_plan(path, jobsheet or load_procedure(path).trade.example or scenario_files()[0])
    if explorers:
        _explore(plan, _day(day), explorers, seed, ways)
        return
    if aloud:
        _aloud(plan, noise, plan_to_ask(plan.catalogue, asked=ask_general, folder=general_model))
        return
    if script is None:
        _typed(Rehearsal(plan, _day(day)), as_json=as_json)
        return
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
    _must_be_understood(rehearsal, script)


def _explore(plan: Plan, day: date, explorers: int, seed: int, ways: int) -> None:
    """Let random visits explore, and print what they covered; a visit that goes wrong, or too little, fails."""
    coverage = explore_randomly(plan, day, explorers, seed)
    gates, transitions = set(plan.procedure.gates), coverage.transitions
    ends = ", ".join(f"{count} {end}" for end, count in sorted(coverage.ends.items()))
    typer.echo(f"{explorers} explorers from seed {seed}: {ends or 'none ended'}")
    typer.echo(f"gates entered {len(coverage.entered & gates)} of {len(gates)}")
    typer.echo(f"transitions taken {len(coverage.passed & transitions)} of {len(transitions)}")
    for gate_id in plan.procedure.gates:
        left = sorted(outcome for gate, outcome in transitions - coverage.passed if gate == gate_id)
        if gate_id not in coverage.entered:
            typer.echo(f"  never entered: {gate_id}")
        elif left:
            typer.echo(f"  never left {gate_id} by: {', '.join(left)}")
    for fault in coverage.faults:
        typer.echo(f"WRONG: {fault}")
    walked = len(coverage.passed & transitions)
    if 100 * walked < ways * len(transitions):
        typer.echo(f"TOO LITTLE: {100 * walked // len(transitions)} % of the ways, {ways} % are asked for")
        raise typer.Exit(ExitCode.FAILED)
    if coverage.faults:
        raise typer.Exit(ExitCode.FAILED)


def _aloud(plan: Plan, noise: float | None, general: GeneralPlan | None) -> None:
    """Say and hear every phrase; one that a visit takes for another fails."""
    from handsfree.commands.aloud import heard_aloud, summary  # noqa: PLC0415 - voice and recogniser only here

    hearings = list(heard_aloud(plan, general, noise_db=noise))
    for line in summary(hearings):
        typer.echo(line)
    if any(hearing.misheard for hearing in hearings):
        raise typer.Exit(ExitCode.FAILED)


def _typed(rehearsal: Rehearsal, *, as_json: bool) -> None:
    """Take lines from the keyboard until the visit is over or the lines end."""
    shown = 0
    while not rehearsal.over:
        shown = _show(rehearsal, shown, as_json=as_json)
        try:
            line = typer.prompt("        You ", default="", show_default=False, prompt_suffix=" ")
        except typer.Abort:
            break
        if line.strip() == "quit":
            break
        if line.strip():
            rehearsal.say(line.strip())
        else:
            rehearsal.wait()
    _show(rehearsal, shown, as_json=as_json)


def _step(rehearsal: Rehearsal, step: Any, where: str, *, as_json: bool) -> None:
    """Do one step of the script."""
    if isinstance(step, dict) and len(step) == 1:
        ((name, value),) = step.items()
        if name == "wait":
            rehearsal.wait(_seconds(value, where))
            return
        rehearsal.until_asking()
        if name == "expect":
            _expected(rehearsal.state.gate, value, where)
            return
        if name == "ends":
            state = rehearsal.state
            ended = state.outcome if ev.at_its_end(state.outcome) else state.status
            _expected(ended, value, where)
            return
        raise Problem(f"there is no step {name!r}", where=where, remedy=STEPS)
    if not isinstance(step, str | int | Decimal):
        raise Problem("this is no step", where=where, remedy=STEPS)
    rehearsal.until_asking()
    if rehearsal.over:
        raise Problem("the visit is over before this step", where=where, code=ExitCode.FAILED)
    if not as_json:
        typer.echo(f"{'Technician':>12}  {step}")
    rehearsal.say(str(step))


def _seconds(value: object, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or value < 0:
        raise Problem("a wait is a number of seconds", where=where, remedy=STEPS)
    return float(value)


def _must_be_understood(rehearsal: Rehearsal, script: Path) -> None:
    """Raise Problem when things were said, and none was understood: nothing was tried then."""
    kinds = {event.kind for event in rehearsal.events}
    if "not-understood" in kinds and not kinds & {"understood", "stopped"}:
        raise Problem("nothing that it says was understood", where=str(script), code=ExitCode.FAILED)


def _expected(found: str, wanted: object, where: str) -> None:
    if found != wanted:
        raise Problem(f"expected {wanted}, but it is {found}", where=where, code=ExitCode.FAILED)


def _show(rehearsal: Rehearsal, shown: int, *, as_json: bool) -> int:
    """Print what has happened since; return how much was printed."""
    for event in rehearsal.events[shown:]:
        if as_json:
            kind, content = to_record(event)
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
