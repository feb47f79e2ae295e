"""The procedures team's commands: check, draw, compare, template, language, layout, rewrite."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence, Sized
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.commands.recorded import stays_of
from handsfree.commands.sarif import as_sarif
from handsfree.documents import read_document
from handsfree.editor.whole_review import whole_review
from handsfree.gates.table import ENDING
from handsfree.problem import ExitCode, Problem, write_text
from handsfree.procedure.documentation import language_text
from handsfree.procedure.drawing import svg
from handsfree.procedure.file import LANGUAGE_VERSION
from handsfree.procedure.layout import laid_out
from handsfree.procedure.mermaid import mermaid
from handsfree.procedure.older_versions import rewritten
from handsfree.procedure.pages import pages
from handsfree.procedure.parts import parts_text
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import ProofReport
from handsfree.procedure.proofs.finding import PROOFS, ProofFinding
from handsfree.procedure.proofs.hearing import LEAST_DISTANCE, closest, hearing_of
from handsfree.procedure.proofs.stories import told_shortly
from handsfree.procedure.review import Review, ReviewNote
from handsfree.procedure.schema import schema_text, sheet_schema_text, table_schema_text
from handsfree.procedure.sheets import load_sheets
from handsfree.procedure.template import sheet_template, stories_template, template, trade_template
from handsfree.procedure.trades import BESIDE, trade_data_asked
from handsfree.shipped import example_job_sheet, file_or_shipped
from handsfree.trades import DEFAULT_TRADE

app = typer.Typer(help="For the procedures team.", no_args_is_help=True)

_AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
_File = Annotated[Path, typer.Argument(help="A procedure file.")]
_Into = Annotated[Path | None, typer.Option("--into", help="Write it to this file instead of printing it.")]


@app.command("check")
def check_files(
    files: Annotated[list[Path], typer.Argument(help="Procedure files, each with the files it includes.")],
    *,
    as_json: _AsJson = False,
    whole_story: Annotated[bool, typer.Option("--whole", help="Tell every gate of a story.")] = False,
    sarif: Annotated[Path | None, typer.Option("--sarif", help="Write the findings as SARIF 2.1.0 too.")] = None,
    annotations: Annotated[
        bool, typer.Option("--annotations", help="Print one line a finding instead: file:line:column: what.")
    ] = False,
    sounds: Annotated[int, typer.Option("--sounds", help="Show so many pairs that sound most alike.")] = 0,
) -> None:
    """Prove procedures: fails with the shortest story of each proof that does not hold."""
    results: list[dict[str, Any]] = []
    notes: list[ReviewNote] = []
    fine, as_text = True, not (as_json or annotations)
    for path in files:
        if path.name.endswith(ENDING):
            typer.echo(f"{path}: a table of limits: it is checked with each procedure that reads it", err=True)
            continue
        review = whole_review(file_or_shipped(path))
        fine = fine and review.proven
        notes += review.notes()
        results.append(_as_json(review))
        if as_text:
            _print(review, whole=whole_story, sounds=sounds)
    if as_json:
        typer.echo(json.dumps(results, indent=2, ensure_ascii=False))
    if annotations:
        for note in notes:
            typer.echo(note.line())
    if sarif is not None:
        write_text(sarif, as_sarif(notes, PROOFS))
    if not fine:
        raise typer.Exit(ExitCode.FAILED)


@app.command()
def draw(
    file: _File,
    *,
    into: _Into = None,
    as_pages: Annotated[
        bool, typer.Option("--pages", help="HTML instead of SVG: each part a page, to read or to print on A4.")
    ] = False,
    as_mermaid: Annotated[bool, typer.Option("--mermaid", help="Mermaid text instead of SVG.")] = False,
    visit: Annotated[Path | None, typer.Option(help="A visit's folder: shows its path and times.")] = None,
) -> None:
    """Draw a procedure: prompts, bands, outcomes on their ways, what is altered as spans."""
    procedure = load_procedure(file_or_shipped(file))
    stays = stays_of(visit, procedure) if visit is not None else ()
    drawn = mermaid if as_mermaid else pages if as_pages else svg
    _write(drawn(procedure, stays), into)


@app.command("template")
def new_procedure(
    name: Annotated[str | None, typer.Argument(help="The procedure's name, in-kebab-case.")] = None,
    *,
    sheet: Annotated[str | None, typer.Option("--sheet", help="A sheet instead: job or appliance.")] = None,
    stories: Annotated[bool, typer.Option("--stories", help="The first story of that procedure instead.")] = False,
    schema: Annotated[bool, typer.Option("--schema", help="The JSON Schema of that sheet instead.")] = False,
    example: Annotated[
        bool, typer.Option("--example", help="With --sheet job: two invented sheets, to try a visit with.")
    ] = False,
    trade: Annotated[str, typer.Option("--trade", help="The trade it belongs to.")] = DEFAULT_TRADE,
    new_trade: Annotated[
        str | None, typer.Option("--new-trade", help="A trade of your own instead: the folder trades/NAME.")
    ] = None,
    into: _Into = None,
) -> None:
    """Write a new procedure to start from, whole and proven; or a sheet, or a trade of your own."""
    if new_trade is not None:
        if name is not None or sheet is not None:
            raise Problem("a new trade is a folder of its own", remedy="give --new-trade NAME alone")
        _new_trade(new_trade, into or Path())
        return
    _refuse_mixed(name, sheet, into, stories=stories, schema=schema, example=example)
    near = Path() if into is None else into.parent
    if stories:
        text = stories_template(str(name))
    elif example and into is not None:
        text = _example(into, trade)
    elif schema:
        text = sheet_schema_text(str(sheet), trade_data_asked(trade, None, near))
    else:
        text = sheet_template(sheet, trade, near) if sheet is not None else template(str(name), trade, near)
    if into is not None and into.exists():
        raise Problem("this file is there already", where=str(into), remedy="choose another name")
    _write(text, into)


def _refuse_mixed(
    name: str | None, sheet: str | None, into: Path | None, *, stories: bool, schema: bool, example: bool
) -> None:
    """Raise Problem where what is asked of `template` does not go together."""
    if (name is None) == (sheet is None):
        raise Problem("a new file is a procedure or a sheet", remedy="give a NAME, or --sheet job or appliance")
    if stories and name is None:
        raise Problem("a sheet has no stories", remedy="give the NAME of the procedure, without --sheet")
    if schema and sheet not in {"job", "appliance"}:
        raise Problem("only a sheet has a schema here", remedy="give --sheet job or appliance; of a procedure: "
                      "handsfree language --schema")  # fmt: skip
    if example and (sheet != "job" or schema or into is None):
        raise Problem("the invented sheets are two files", remedy="give --sheet job --example --into FILE")


def _new_trade(name: str, into: Path) -> None:
    """Write the folder of a new trade into `trades` of a folder."""
    folder, files = into / BESIDE / name, trade_template(name)
    if folder.exists():
        raise Problem("this folder is there already", where=str(folder), remedy="choose another name")
    for file, text in files.items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        write_text(folder / file, text)
    typer.echo(f"written to {folder}: {', '.join(files)}")


def _example(into: Path, trade: str) -> str:
    """Return the invented job sheet of a trade, and write the appliance sheet that it names beside `into`."""
    of = trade_data_asked(trade, None, into.parent)
    sheets, (text, appliance) = load_sheets(of.example or example_job_sheet(), of)
    beside = into.parent / sheets.job.appliance
    for file in (into, beside):
        if file.exists():
            raise Problem("this file is there already", where=str(file), remedy="choose another folder")
    _write(appliance.text, beside)
    return text.text


@app.command("language")
def describe_language(
    *,
    schema: Annotated[bool, typer.Option("--schema", help="The JSON Schema for editors instead.")] = False,
    tables: Annotated[bool, typer.Option("--tables", help="With --schema: that of tables of limits.")] = False,
    stories: Annotated[bool, typer.Option("--stories", help="The language of their stories instead.")] = False,
    into: _Into = None,
) -> None:
    """Describe the language of procedures, from its model."""
    if tables and not schema:
        raise Problem("of tables there is a schema alone; the page tells of them too", remedy="give --schema, too")
    if stories:
        from handsfree.stories.documentation import stories_text  # noqa: PLC0415 - with the whole session

        _write(stories_text(), into)
        return
    if tables:
        _write(table_schema_text(), into)
        return
    _write(schema_text() if schema else language_text(), into)


@app.command("parts")
def list_parts(
    files: Annotated[list[Path], typer.Argument(help="Procedure files: visits, and the parts they include.")],
    *,
    into: _Into = None,
) -> None:
    """Write the page that shows which visit uses which part."""
    _write(parts_text(load_procedure(file) for file in files if not file.name.endswith(ENDING)), into)


@app.command("layout")
def lay_out(
    files: Annotated[list[Path], typer.Argument(help="Procedure files or sheets.")],
    *,
    only_check: Annotated[
        bool, typer.Option("--check", help="Change nothing; fail when something would.")
    ] = False,
) -> None:
    """Lay YAML files out alike; comments and values stay."""
    different = []
    for path in files:
        text = path.read_text(encoding="utf-8") if path.is_file() else ""
        laid = laid_out(text, str(path))
        if laid != text:
            different.append(path)
            typer.echo(f"{path}: {'would be' if only_check else 'is'} laid out anew")
            if not only_check:
                write_text(path, laid)
    if different and only_check:
        raise typer.Exit(ExitCode.FAILED)


@app.command("rewrite")
def rewrite_files(
    files: Annotated[list[Path], typer.Argument(help="Procedure files of an older version of the language.")],
) -> None:
    """Give the old keys of procedure files their new names; all else stays as it is."""
    texts = {path: rewritten(read_document(path)) for path in files}
    for path, text in texts.items():
        if text.encode() == path.read_bytes():
            typer.echo(f"{path}: nothing to rewrite")
        else:
            path.write_bytes(text.encode())
            typer.echo(f"{path}: rewritten to version {LANGUAGE_VERSION} of the language")


def _write(text: str, into: Path | None) -> None:
    if into is None:
        typer.echo(text, nl=False)
    else:
        write_text(into, text)
        typer.echo(f"written to {into}")


def _as_json(review: Review) -> dict[str, Any]:
    told: dict[str, Any] = {"file": str(review.path), "proven": review.proven}
    report = review.report
    if report is None:
        return {**told, "problem": review.problem.sentence() if review.problem else ""}
    proofs = {name: "failed" if report.failed(name) else "holds" for name in PROOFS}
    findings = [finding.to_json() for finding in report.findings]
    return {**told, "proofs": proofs, "findings": findings, "remarks": list(report.remarks)}


def _print(review: Review, *, whole: bool, sounds: int) -> None:
    if review.problem is not None:
        for where, what in (
            (review.problem.where or "", review.problem.sentence()),
            *((str(place), f"{place}: {what}") for place, what in review.others),
        ):
            typer.echo(what)
            typer.echo(_caret(where), nl=False)
    if review.report is None:
        return
    report, procedure = review.report, review.report.procedure
    typer.echo(f"{review.path}: {_number(procedure.gates, 'gate')}, {_number(procedure.things, 'thing')} altered")
    for name, says in PROOFS.items():
        failed = report.failed(name)
        typer.echo(f"  {'FAILS' if failed else 'holds'}  {name:13} {says}")
        for finding, again in _at_one_place(failed):
            _print_finding(finding, again, whole=whole)
    for remark in report.remarks:
        typer.echo(f"  remark: {remark}")
    _print_sounds(report, sounds)


def _number(of: Sized, name: str) -> str:
    return f"1 {name}" if len(of) == 1 else f"{len(of)} {name}s"


def _at_one_place(findings: Sequence[ProofFinding]) -> Iterator[tuple[ProofFinding, int]]:
    """Yield the first finding at each place of a file, and how often it is found there for other items, too."""
    number = Counter((finding.place, finding.remedy) for finding in findings)
    first = {(finding.place, finding.remedy): finding for finding in reversed(findings)}
    yield from ((first[where], count - 1) for where, count in number.items())


def _print_finding(finding: ProofFinding, again: int, *, whole: bool) -> None:
    more = f" (and {again} more from this line)" if again else ""
    typer.echo(f"\n    {finding.place}: {finding.what}{more}")
    if finding.remedy:
        typer.echo(f"      {finding.remedy}")
    for line in _caret(str(finding.place)).splitlines():
        typer.echo(f"      {line}")
    if finding.story:
        typer.echo("      It happens so:")
        story = [f"{b.gate}: {b.said}" for b in finding.story] if whole else told_shortly(finding.story)
        for line in story:
            typer.echo(f"        {line}")
    typer.echo("")


def _print_sounds(report: ProofReport, count: int) -> None:
    if count:
        typer.echo(f"  accepted together and most alike, in phones ({LEAST_DISTANCE} needed):")
        for apart, one, other in closest(hearing_of(report.procedure, report.procedure.catalogue), count):
            typer.echo(f"    {apart:.2f}  {one} | {other}")


def _caret(where: str) -> str:
    """Return the line a place names with a caret under the column; empty when there is none."""
    name, _, rest = where.rpartition(".yaml:")
    parts = rest.split(":")
    path = Path(f"{name}.yaml")
    if not name or not parts[0].isdigit() or not path.is_file():
        return ""
    line = int(parts[0])
    column = int(parts[1]) if len(parts) > 1 and parts[1].isdigit() else 1
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    if not 0 < line <= len(lines):
        return ""
    return f"{lines[line - 1][:160]}\n{' ' * (min(column, 160) - 1)}^\n"
