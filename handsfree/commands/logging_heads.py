"""The office's log of heads, and the proof of one entry alone."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.ledger import state_folder
from handsfree.office.absences import GAP, against_log, beyond, findings
from handsfree.office.carried import carry
from handsfree.office.kept_key import KeptKey, make_key, open_key
from handsfree.office.log import append, checked_leaves, count_not_signed, newest_checkpoint, size_told
from handsfree.office.proving import prove as prove_entry
from handsfree.office.proving import proven
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.problem import ExitCode, Problem, one_line

app = typer.Typer(help="The office's log of heads.")
_log = typer.Typer(help="Keep the log of heads: add visits, check for gaps and forks, show the checkpoint.")
app.add_typer(_log, name="log")

_Folders = Annotated[list[Path] | None, typer.Argument(help="The folders of the visits.")]
_LogKey = Annotated[str | None, typer.Option(help="The public key of the log: 64 hex digits; this machine's own.")]


@_log.command()
def add(folders: Annotated[list[Path], typer.Argument(help="The folders of the visits.")]) -> None:
    """Add the heads of verified visits, and of what was signed to them; the log only grows."""
    enrolment = known_enrolment()
    reports = [verify_anchored(folder, enrolment) for folder in folders]
    for report in reports:
        if not report.ok:
            says = report.anchor.says if report.whole and report.anchor else report.sentence
            raise Problem(f"this is not logged: {says}", where=str(report.folder), code=ExitCode.FAILED)
    typer.echo(f"{append(_folder(), reports, _key())} lines were added to {_folder()}")


@_log.command()
def check(
    folders: _Folders = None,
    *,
    older: Annotated[
        Path | None, typer.Option("--checkpoint", help="A checkpoint that was kept elsewhere.")
    ] = None,
) -> None:
    """Say what the log shows: gaps in numbers, forks, dates that cannot be, signed lines that are gone."""
    reports = [verify_anchored(folder, known_enrolment()) for folder in folders or []]
    mine, count = {report.identity: list[dict[str, Any]]() for report in reports}, 0

    def leaves() -> Iterator[dict[str, Any]]:
        nonlocal count
        for leaf in checked_leaves(_folder(), _key().public, None if older is None else _text(older)):
            count += 1
            mine.get(leaf.get("visit"), []).append(leaf)
            yield leaf

    found = [*findings(leaves()), *beyond(count_not_signed(_folder(), _key().public))]
    for report in reports:
        found += against_log(report, mine[report.identity])
    for each in found:
        typer.echo(one_line(f"{each.name}: {each.says}"))
    typer.echo(f"{count} lines of the log are whole; {len(found)} findings")
    if any(each.name != GAP for each in found):
        raise typer.Exit(ExitCode.FAILED)


@_log.command()
def checkpoint() -> None:
    """Print the newest checkpoint, to be kept elsewhere, and on the error output the log's public key."""
    typer.echo(newest_checkpoint(_folder()), nl=False)
    typer.echo(f"the log's key: {_key().public}", err=True)


@_log.command("carry")
def carry_command(
    file: Annotated[Path, typer.Argument(help="A checkpoint of the office's log, as `log checkpoint` prints it.")],
) -> None:
    """On a device: take the office's newest checkpoint along, so that new visits show what they did not precede.

    A device that hands over by network does so by itself, with each receipt.
    """
    note = _text(file)
    kept = carry(note)
    says = "new visits carry it" if kept else "one of as many lines, or more, is carried already"
    typer.echo(f"a checkpoint of {size_told(note)} lines: {says}")


@_log.command("stamp")
def stamp_command(
    folders: Annotated[list[Path], typer.Argument(help="The folders of the visits.")],
    *,
    server: Annotated[str, typer.Option(help="The address of a time-stamp authority (RFC 3161).")],
) -> None:
    """Have somebody else stamp the time of closed records; the stamp lies beside the record as timestamp.tsr."""
    from handsfree.office.timestamps import add_time_stamp  # noqa: PLC0415 - loads a native library

    for folder in folders:
        report = verify_anchored(folder, known_enrolment())
        if not report.whole:
            raise Problem(f"only a closed record that is whole is stamped: {report.sentence}", where=str(folder))
        typer.echo(one_line(f"{folder}: stamped {add_time_stamp(folder, server)}"))


@app.command()
def prove(
    what: Annotated[Path, typer.Argument(help="The folder of a visit, or with --check a proof.")],
    entry: Annotated[int | None, typer.Argument(help="The number of the entry.")] = None,
    *,
    check_it: Annotated[bool, typer.Option("--check", help="Check a proof, and print the entry.")] = False,
    log_key: _LogKey = None,
) -> None:
    """Prove one entry of a logged visit alone, without the others; or check such a proof."""
    public = log_key or _key().public
    if check_it:
        try:
            found, leaf = proven(json.loads(_text(what)), public)
        except (ValueError, RecursionError) as error:
            raise Problem("this is no proof of an entry", where=str(what), code=ExitCode.FAILED) from error
        typer.echo(json.dumps(found, ensure_ascii=False))
        typer.echo(one_line(f"it stood in the record that was logged at {leaf['at']}"), err=True)
        return
    if entry is None:
        raise Problem("say which entry is to be proven", remedy="handsfree prove FOLDER ENTRY")
    typer.echo(json.dumps(prove_entry(what, entry, _folder(), public), indent=1))


def _folder() -> Path:
    return state_folder() / "log"


def _key() -> KeptKey:
    """Return the log's key, made on first use; it signs unattended, so it has no passphrase."""
    path = state_folder() / "log.pem"
    return open_key(path, None) if path.exists() else make_key(path, None)


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise Problem("this file cannot be read", where=str(path)) from error
