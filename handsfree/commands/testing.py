"""Stories of procedures run: what fails, what they cover, and what no story walks."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.problem import ExitCode, write_text
from handsfree.stories.accepted import reasons
from handsfree.stories.junit import junit as as_junit
from handsfree.stories.mutants import FaultName
from handsfree.stories.running import Covered, StoriesOf, run_all, stories_in
from handsfree.stories.trying import MutantOutcome, outcomes

app = typer.Typer(help="Stories.")


@app.command("test")
def run_stories(
    paths: Annotated[
        list[Path], typer.Argument(help="Folders, procedures, or files of stories (NAME.tests.yaml).")
    ],
    *,
    gates: Annotated[int, typer.Option(min=0, max=100, help="Least share of gates entered, in percent.")] = 0,
    ways: Annotated[int, typer.Option(min=0, max=100, help="Least share of ways walked, in percent.")] = 0,
    unwalked: Annotated[
        bool,
        typer.Option("--unwalked", help="Name each gate and way that no story walks, each row that none reads."),
    ] = False,
    junit: Annotated[Path | None, typer.Option("--junit", help="Write the outcome as JUnit XML too.")] = None,
    mutants: Annotated[
        bool,
        typer.Option("--mutants", help="Plant faults instead, and list those that no proof and no story notices."),
    ] = False,
    every: Annotated[int, typer.Option("--every", min=1, help="With --mutants: try each so-many-th alone.")] = 1,
    caught: Annotated[
        int, typer.Option("--caught", min=0, max=100, help="With --mutants: least share noticed, in percent.")
    ] = 0,
    explained: Annotated[
        bool,
        typer.Option("--explained", help="With --mutants: fail on one not noticed that no `accepted` explains."),
    ] = False,
    jobs: Annotated[int, typer.Option(min=1, help="How many stories to run at a time.")] = os.cpu_count() or 1,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
) -> None:
    """Run the stories beside procedures; fails on one that goes otherwise, and where too little is covered."""
    if mutants:
        _mutants(stories_in(paths), jobs, every, caught, explained=explained)
        return
    found = run_all(stories_in(paths), jobs)
    lacking = [one.too_little(gates, ways) for one in found]
    if junit is not None:
        write_text(junit, as_junit(found, lacking))
    if as_json:
        told = [_as_json(one, short) for one, short in zip(found, lacking, strict=True)]
        typer.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        for one, short in zip(found, lacking, strict=True):
            _print(one, short, unwalked=unwalked)
    if any(one.failed for one in found) or any(lacking):
        raise typer.Exit(ExitCode.FAILED)


def _mutants(found: list[StoriesOf], jobs: int, every: int, least: int, *, explained: bool) -> None:
    """Plant faults, print how many are noticed by what, and each that is not."""
    reasons(found)
    became = outcomes(found, jobs, every)
    because = reasons(found, became)
    results = [one for one in became if one.caught != "same"]
    parts = [(str(each.procedure), [one for one in results if each.path in one.stories]) for each in found]
    shares = [*parts, ("altogether, each file once", results)] if len(parts) > 1 else parts
    for name, some in shares:
        typer.echo(f"{name}: {_share(some, because)}")
    left = [one for one in results if one.caught == "survives"]
    for one in left:
        reason = because.get(one.fault.name)
        told = f"survives ({one.by}): {one.fault.name}"
        typer.echo(f"  {told}" if reason is None else f"  explained, {told}: {reason}")
    too_few = any(100 * sum(one.caught != "survives" for one in some) < least * len(some) for _, some in shares)
    if too_few or (explained and any(one.fault.name not in because for one in left)):
        raise typer.Exit(ExitCode.FAILED)


def _share(results: list[MutantOutcome], because: Mapping[FaultName, str]) -> str:
    by = {name: [one for one in results if one.caught == name] for name in ("check", "story", "survives")}
    noticed, left = len(results) - len(by["survives"]), by["survives"]
    explained = sum(one.fault.name in because for one in left)
    share = f"{100 * noticed / len(results):.1f} %" if results else "none to plant"
    looser = sum(one.by == "looser" for one in left)
    return (
        f"{noticed} of {len(results)} planted faults are noticed ({share}): "
        f"{len(by['check'])} by check, {len(by['story'])} by stories; of the others {explained} explained, "
        f"{len(left) - explained} unexplained, and compare calls {looser} looser"
    )


def _print(one: Covered, lacking: tuple[str, ...], *, unwalked: bool) -> None:
    right = len(one.results) - len(one.failed)
    rows = f", rows {len(one.read)} of {len(one.rows)}" if one.rows else ""
    typer.echo(
        f"{one.stories.path}: {right} of {len(one.results)} stories go as told; "
        f"gates {len(one.entered)} of {len(one.procedure.gates)}, ways {len(one.walked)} of {len(one.ways)}{rows}"
    )
    for result in one.failed:
        typer.echo(f"  FAILS {result.place}: {result.story}: {result.fault}")
    for what in lacking:
        typer.echo(f"  TOO LITTLE: {what}")
    for line in _unwalked(one) if unwalked or lacking else ():
        typer.echo(f"  {line}")


def _unwalked(one: Covered) -> list[str]:
    """Return each gate never entered, each other with ways never walked, and each row of a table never read."""
    lines = []
    for gate_id in one.procedure.gates:
        left = sorted(outcome for gate, outcome in one.ways - one.walked if gate == gate_id)
        if gate_id not in one.entered:
            lines.append(f"never entered: {gate_id}")
        elif left:
            lines.append(f"never left {gate_id} by: {', '.join(left)}")
    return [*lines, *(f"never read: the row of {name} at {place}" for name, place in one.unread)]


def _as_json(one: Covered, lacking: tuple[str, ...]) -> dict[str, Any]:
    return {
        "file": str(one.stories.path),
        "procedure": one.procedure.name,
        "stories": [
            {
                "story": result.story,
                "passed": not result.fault,
                "fault": result.fault,
                "line": result.place.line,
                "seconds": f"{result.seconds:.3f}",
            }
            for result in one.results
        ],
        "gates": {"entered": len(one.entered), "of": len(one.procedure.gates)},
        "ways": {"walked": len(one.walked), "of": len(one.ways)},
        "never entered": [gate for gate in one.procedure.gates if gate not in one.entered],
        "never walked": [list(way) for way in sorted(one.ways - one.walked)],
        "never read": [str(place) for _, place in one.unread],
        "too little": list(lacking),
    }
