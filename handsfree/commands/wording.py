"""New words in one step: how they are likely said, and how well each phrase is heard."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from handsfree.commands.general_recogniser import AskGeneral, GeneralModel, plan_to_ask
from handsfree.commands.tried_words import WordTrial, proposals, with_proposed
from handsfree.problem import ExitCode
from handsfree.procedure.procedure import load_procedure

app = typer.Typer(help="Words.")


@app.command("words")
def try_words(
    file: Annotated[Path, typer.Argument(help="A procedure file.")],
    *,
    least: Annotated[
        int, typer.Option(min=0, max=100, help="Fail when a phrase is heard right less often, in percent.")
    ] = 0,
    ask_general: AskGeneral = True,
    general_model: GeneralModel = None,
) -> None:
    """Propose how new words are said, and try by several voices whether a visit hears each phrase."""
    procedure = load_procedure(file)
    lacking = proposals(procedure)
    if lacking:
        typer.echo("Write these under `words:`, as they are said:")
        for word, ways in lacking.items():
            other = f"   # or: {'; '.join(ways[1:])}" if len(ways) > 1 else ""
            typer.echo(f"  {word}: {ways[0]}{other}" if ways else f"  {word}: nothing can be proposed")
    general = plan_to_ask(procedure.catalogue, asked=ask_general, folder=general_model)
    trial = WordTrial(with_proposed(procedure), general)
    weak = False
    try:
        names = ", ".join(f"{voice.settings.name} ({voice.settings.words_per_minute})" for voice in trial.voices)
        typer.echo(f"Heard in burner noise, by synthetic voices (words a minute): {names}")
        for phrase in trial.phrases():
            weak = weak or 100 * phrase.share < least
            typer.echo(f"  {phrase.line()} at {phrase.gate}")
            for heard, times in phrase.taken_for.items():
                typer.echo(f'    {times} times taken for "{heard}"')
            for better in phrase.better:
                typer.echo(f"    better: {better.line()}")
    finally:
        trial.close()
    typer.echo("Synthetic voices rank phrases; they do not show how a person is heard.")
    if weak:
        raise typer.Exit(ExitCode.FAILED)
