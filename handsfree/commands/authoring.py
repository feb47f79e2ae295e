"""The procedures team's commands: check, draw, compare, rehearse, template, language."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.problem import ExitCode, Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import Report, check
from handsfree.procedure.proofs.finding import PROOFS, Finding
from handsfree.procedure.proofs.stories import told_shortly
from handsfree.procedure.yaml_reader import Place

app = typer.Typer(help="For the procedures team.", no_args_is_help=True)


@app.command("check")
def check_files(
    files: Annotated[list[Path], typer.Argument(help="Procedure files, each with the files it includes.")],
    *,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
    whole_story: Annotated[bool, typer.Option("--whole", help="Tell every gate of a story.")] = False,
) -> None:
    """Prove procedures: fails with the shortest story of each proof that does not hold."""
    results: list[dict[str, Any]] = []
    fine = True
    for path in files:
        try:
            report = check(load_procedure(path))
        except Problem as problem:
            fine = False
            results.append({"file": str(path), "proven": False, "problem": problem.sentence()})
            if not as_json:
                typer.echo(problem.sentence())
                typer.echo(_caret(problem.where or ""), nl=False)
            continue
        fine = fine and report.proven
        results.append(_as_json(path, report))
        if not as_json:
            _print(path, report, whole=whole_story)
    if as_json:
        typer.echo(json.dumps(results, indent=2, ensure_ascii=False))
    if not fine:
        raise typer.Exit(ExitCode.FAILED)


def _as_json(path: Path, report: Report) -> dict[str, Any]:
    proofs = {name: "failed" if report.failed(name) else "holds" for name in PROOFS}
    findings = [finding.to_json() for finding in report.findings]
    return {"file": str(path), "proven": report.proven, "proofs": proofs, "findings": findings}


def _print(path: Path, report: Report, *, whole: bool) -> None:
    procedure = report.procedure
    typer.echo(f"{path}: {len(procedure.gates)} gates, {len(procedure.things)} things altered")
    for name, says in PROOFS.items():
        failed = report.failed(name)
        typer.echo(f"  {'FAILS' if failed else 'holds'}  {name:13} {says}")
        for finding in failed:
            _print_finding(finding, whole=whole)


def _print_finding(finding: Finding, *, whole: bool) -> None:
    typer.echo(f"\n    {finding.place}: {finding.what}")
    if finding.remedy:
        typer.echo(f"      {finding.remedy}")
    caret = _caret(str(finding.place))
    for line in caret.splitlines():
        typer.echo(f"      {line}")
    if finding.story:
        typer.echo("      It happens so:")
        story = [f"{b.gate}: {b.said}" for b in finding.story] if whole else told_shortly(finding.story)
        for line in story:
            typer.echo(f"        {line}")
    typer.echo("")


def _caret(where: str) -> str:
    """Return the line a place names with a caret under the column; empty when there is none."""
    name, _, rest = where.rpartition(".yaml:")
    parts = rest.split(":")
    path = Path(f"{name}.yaml")
    if not name or not parts[0].isdigit() or not path.is_file():
        return ""
    place = Place(str(path), int(parts[0]), int(parts[1]) if len(parts) > 1 and parts[1].isdigit() else 1)
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    if not 0 < place.line <= len(lines):
        return ""
    line = lines[place.line - 1][:160]
    return f"{line}\n{' ' * (place.column - 1)}^\n"
