"""The command `rehear`: the stored clips of visits, heard again here."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from handsfree.problem import ExitCode, Problem, one_line
from handsfree.rehearing.findings import TOLD, HeardAgain

app = typer.Typer(help="Hear visits again.", no_args_is_help=True)


@app.command()
def rehear(
    folders: Annotated[list[Path], typer.Argument(metavar="FOLDER...", help="Folders of visits.")],
    *,
    model: Annotated[
        Path | None, typer.Option(help="Another English speech model in Vosk layout; ours when left out.")
    ] = None,
    further: Annotated[
        bool, typer.Option("--further/--no-further", help="Ask the general recogniser too, where it is installed.")
    ] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Hear the clips of visits again, and tell where the record and its sound disagree.

    Each clip is heard by the speech model and held against what the record took from it. Silence, tones, the
    tool's own voice and sound that was used before are told too. Nothing of the visit is changed. What was found
    is kept until the visit or the model changes. A finding is a reason to listen: it proves nothing of anybody.
    """
    from handsfree.rehearing.limits import LONGEST_S  # noqa: PLC0415
    from handsfree.rehearing.work import WithWhat, hear_again  # noqa: PLC0415 - loads the recogniser
    from handsfree.sandbox import Sandbox  # noqa: PLC0415

    work = partial(hear_again, by=WithWhat(model, further))
    codes = []
    results = []
    with Sandbox[Path, HeardAgain]("hearing again", work, seconds=LONGEST_S) as sandbox:
        for folder in folders:
            try:
                found = sandbox.do(folder, where=str(folder))
            except Problem as problem:
                typer.echo(one_line(f"{folder}: not heard again: {problem.sentence()}"), err=True)
                codes.append(ExitCode.BAD_INPUT)
                continue
            codes.append(ExitCode.FAILED if found.findings else ExitCode.DONE)
            results.append({"folder": str(folder), **asdict(found), "sentence": found.sentence})
            if not as_json:
                _tell(folder, found)
    if as_json:
        typer.echo(json.dumps({"visits": results}, indent=1, ensure_ascii=False))
    worst = next((code for code in (ExitCode.FAILED, ExitCode.BAD_INPUT) if code in codes), ExitCode.DONE)
    raise typer.Exit(worst)


def _tell(folder: Path, found: HeardAgain) -> None:
    typer.echo(one_line(f"{folder}: {found.sentence}"))
    for one in found.findings:
        typer.echo(one_line(f"  entry {one.seq}, “{one.recorded}”: {TOLD[one.kind].lower()}: {one.says}"))
