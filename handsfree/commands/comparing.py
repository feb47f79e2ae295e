"""Two procedures held against each other: what changed, how each change weighs, and what goes otherwise by it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.commands.recorded import visits_differently
from handsfree.commands.sarif import as_sarif
from handsfree.problem import ExitCode, write_text
from handsfree.procedure.at_commit import reader_at
from handsfree.procedure.before_after import before_and_after
from handsfree.procedure.comparison import Change, ProofChange, changes, place_of, proof_changes
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.dangers import dangers
from handsfree.procedure.review import ReviewNote
from handsfree.procedure.weighing import WEIGHTS
from handsfree.session.plan import Plan
from handsfree.stories.running import by_another, differences, stories_beside

app = typer.Typer(help="Comparison.")

_LEVELS = {"looser": "warning", "tighter": "note", "wording": "note", "neutral": "note"}


@app.command()
def compare(
    old: Annotated[
        str, typer.Argument(help="The procedure as it was: a file, or a commit, branch or tag of git.")
    ],
    new: Annotated[Path, typer.Argument(help="The procedure as it is now.")],
    *,
    visits: Annotated[
        Path | None, typer.Option(help="A folder of visits: would they have gone otherwise?")
    ] = None,
    stories: Annotated[
        bool, typer.Option("--stories", help="Tell the stories beside the new one by both: which go otherwise?")
    ] = False,
    exit_code: Annotated[
        bool, typer.Option("--exit-code", help="Fail when anything is looser, or a proof was lost.")
    ] = False,
    sarif: Annotated[Path | None, typer.Option("--sarif", help="Write the changes as SARIF 2.1.0 too.")] = None,
    drawing: Annotated[
        Path | None, typer.Option("--drawing", help="Write what changed side by side, as a page of HTML, too.")
    ] = None,
    annotations: Annotated[
        bool, typer.Option("--annotations", help="Print one line a change instead: file:line:column: what.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
) -> None:
    """Say what changed in meaning, how it weighs, which proofs came or went, and what is newly allowed."""
    before = load_procedure(Path(old)) if _names_a_file(old) else load_procedure(new, reader_at(old, new))
    after = load_procedure(new)
    found, proofs, allowed = changes(before, after), proof_changes(before, after), dangers(before, after)
    gone_otherwise = visits_differently(visits, after) if visits is not None else []
    told_otherwise = list(_stories_otherwise(new, before, after)) if stories else []
    notes = [*_notes(found, before, after), *_proof_notes(proofs, after)]
    if sarif is not None:
        write_text(sarif, as_sarif(notes, WEIGHTS))
    if drawing is not None:
        write_text(drawing, before_and_after(before, after, found))
    if annotations:
        for note in notes:
            typer.echo(note.line())
    elif as_json:
        told: dict[str, Any] = {
            "changes": [vars(change) for change in found],
            "proofs": [vars(change) for change in proofs],
            "newly allowed": allowed,
            "stories": told_otherwise,
            "visits": gone_otherwise,
        }
        typer.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        _print(found, proofs, allowed)
        for line in (*told_otherwise, *gone_otherwise):
            typer.echo(line)
    lost = any(not proof.gained for proof in proofs)
    if exit_code and (lost or any(change.weight == "looser" for change in found)):
        raise typer.Exit(ExitCode.FAILED)


def _print(found: tuple[Change, ...], proofs: tuple[ProofChange, ...], allowed: tuple[str, ...]) -> None:
    if not found:
        typer.echo("Nothing changed in meaning.")
    for weight in WEIGHTS:
        some = [change for change in found if change.weight == weight]
        if some:
            typer.echo(f"{weight}:")
        for change in some:
            typer.echo(f"  {change.sentence()}")
    for proof in proofs:
        told = "gained; what broke it before" if proof.gained else "LOST"
        typer.echo(f"proof {proof.proof} {told}: {'; '.join(proof.reasons)}")
    if allowed:
        typer.echo("newly allowed:")
        for sentence in allowed:
            typer.echo(f"  {sentence}")


def _notes(found: tuple[Change, ...], before: Procedure, after: Procedure) -> Iterator[ReviewNote]:
    for change in found:
        level: Any = _LEVELS[change.weight]
        yield ReviewNote(change.weight, level, change.sentence(), place_of(change, before, after))


def _proof_notes(proofs: tuple[ProofChange, ...], after: Procedure) -> Iterator[ReviewNote]:
    place = after.documents[0].place(("procedure",))
    for proof in proofs:
        if not proof.gained:
            yield ReviewNote("proof-lost", "error", f"{proof.proof}: {'; '.join(proof.reasons)}", place)


def _stories_otherwise(new: Path, before: Procedure, after: Procedure) -> Iterator[str]:
    """Yield each story that goes otherwise by the new procedure than by the old one."""
    stories = stories_beside(new)
    if stories is None:
        yield "no stories stand beside it"
        return

    def plans(sheets: Plan) -> tuple[Plan, Plan]:
        return by_another(before, sheets), by_another(after, sheets)

    yield from differences(stories, plans)


def _names_a_file(old: str) -> bool:
    try:
        return Path(old).is_file()
    except OSError:  # a name that is too long for one
        return False
