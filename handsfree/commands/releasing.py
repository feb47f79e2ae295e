"""From the author's desk to the devices: release a procedure, take bundles, withdraw what must not be used."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from handsfree.bundles.archive import ENDING, Bundle, read_bundle
from handsfree.bundles.statement import LONGEST_REASON, MOST_DAYS, Withdrawal, signed
from handsfree.bundles.taken import TakenBundles
from handsfree.bundles.version import numbers
from handsfree.bundles.withdrawals import NAME as WITHDRAWALS
from handsfree.bundles.withdrawals import read_withdrawals, write_withdrawals
from handsfree.commands.enrolling import OWN_AUTHOR, opened_key
from handsfree.ledger import SystemClock, state_folder
from handsfree.ledger.clock import stamp
from handsfree.office.enrolment import Enrolment
from handsfree.office.signatures import KeyHolder
from handsfree.office.verification import known_enrolment
from handsfree.problem import ExitCode, Problem, one_line, write_text
from handsfree.release.making import DAYS, Author, made
from handsfree.release.taking import LISTING, listing, take
from handsfree.shipped import procedure_path

app = typer.Typer(help="Releasing procedures.")

_Into = Annotated[Path, typer.Option("--into", help="The folder of bundles, which devices take from.")]
_Key = Annotated[
    Path | None, typer.Option("--key", help="The author's key file; this machine's own author when left out.")
]
_List = Annotated[
    Path | None, typer.Option("--list", help="The enrolment list; the state folder's when left out.")
]
_PassphraseFile = Annotated[
    Path | None, typer.Option(help="A file whose first line is the passphrase; else it is asked for.")
]


@app.command("release")
def release_procedure(
    procedure: Annotated[str, typer.Argument(help="A procedure file, or the name of a shipped one.")],
    *,
    into: _Into,
    days: Annotated[
        int, typer.Option(min=1, max=MOST_DAYS, help="For how many days it is approved; then devices stop.")
    ] = DAYS,
    key: _Key = None,
    enrolment: _List = None,
    passphrase_file: _PassphraseFile = None,
    jobs: Annotated[int, typer.Option(min=1, help="How many stories to run at a time.")] = os.cpu_count() or 1,
    as_json: Annotated[bool, typer.Option("--json", help="Print the approval as JSON.")] = False,
) -> None:
    """Approve a version of a procedure: proven, tested, raised, and signed as a bundle with all it needs."""
    file, now = procedure_path(procedure), SystemClock().now().wall
    author = _author(key, enrolment, passphrase_file, now)
    before = _latest(into, file.stem)
    bundle = made(file, author, now=now, days=days, before=before, jobs=jobs)
    path = into / bundle.name
    try:
        into.mkdir(parents=True, exist_ok=True)
        path.write_bytes(bundle.content)
    except OSError as error:
        raise Problem(f"this cannot be written ({error.strerror})", where=str(path)) from error
    write_text(into / LISTING, listing(into))
    approval = bundle.approval
    if as_json:
        typer.echo(json.dumps(approval.model_dump(mode="json"), indent=1, ensure_ascii=False))
        return
    told, gates, ways = approval.stories.told, approval.stories.gates, approval.stories.ways
    since = {"first": "the first version", "renewed": "approved anew"}.get(
        approval.weight, f"{approval.weight} than {approval.after}"
    )
    typer.echo(one_line(f"{path}: {approval.procedure} {approval.version}, {since}"))
    typer.echo(
        f"  all {len(approval.proofs)} proofs hold; {told} {'story goes' if told == 1 else 'stories go'} as told: "
        f"{gates[0]} of {gates[1]} gates, {ways[0]} of {ways[1]} ways"
    )
    typer.echo(one_line(f"  approved by {approval.author} until {approval.valid_until[:10]}"))


@app.command("withdraw")
def withdraw_versions(
    procedure: Annotated[str, typer.Argument(help="The procedure's name, or that of a sheet of maker's data.")],
    versions: Annotated[list[str], typer.Argument(help="Its versions that nobody may be led by any more.")],
    *,
    why: Annotated[str, typer.Option(help="Why, in a sentence that devices show.")],
    into: _Into,
    key: _Key = None,
    enrolment: _List = None,
    passphrase_file: _PassphraseFile = None,
) -> None:
    """Withdraw versions of a procedure: a signed line that devices take along with the bundles."""
    for version in versions:
        try:
            numbers(version)
        except ValueError as error:
            raise Problem(str(error), remedy="write it like 1.4.0") from error
    if not why.strip() or len(why) > LONGEST_REASON:
        raise Problem(f"say why in 1 to {LONGEST_REASON} characters", where="withdraw")
    now = SystemClock().now().wall
    author = _author(key, enrolment, passphrase_file, now)
    says = {"procedure": procedure, "versions": versions, "why": why.strip(), "at": stamp(now)}
    withdrawal = signed(Withdrawal, says, author.listed, KeyHolder(author.key))
    path = into / WITHDRAWALS
    known = read_withdrawals(path)
    write_withdrawals(path, known, [withdrawal])
    if known.fault:
        sys.stderr.write(one_line(f"A line of this list does not hold, and stays: {known.fault}") + "\n")
    write_text(into / LISTING, listing(into))
    typer.echo(one_line(f"{path}: {procedure} {', '.join(versions)} withdrawn by {withdrawal.author}"))


@app.command("take")
def take_bundles(
    source: Annotated[
        str | None, typer.Argument(help="A bundle, a folder, a stick or an address; what is here when left out.")
    ] = None,
    *,
    back: Annotated[
        str | None, typer.Option("--back", help="Lead this procedure by the version before that may be used.")
    ] = None,
    enrolment: _List = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Take approved procedures and withdrawals to this device; whatever does not hold changes nothing."""
    here = TakenBundles.here(enrolment)
    if back is not None:
        typer.echo(one_line(f"{back} {here.back(back)} is in use"))
        return
    if source is None:
        _tell(here, as_json=as_json)
        return
    done = take(source, here)
    if as_json:
        typer.echo(json.dumps([vars(one) for one in done], indent=1, ensure_ascii=False))
    for one in () if as_json else done:
        typer.echo(one_line(f"{'REFUSED ' if one.refused else ''}{one.what}: {one.says}"))
    if any(one.refused for one in done):
        raise typer.Exit(ExitCode.FAILED)


def _tell(here: TakenBundles, *, as_json: bool) -> None:
    """Print every version that is here, which is in use, and why another may not be."""
    found = []
    for name in here.names():
        for version in here.versions(name):
            row = {"procedure": name, "version": version, "in_use": False}
            row |= {"approved_by": "", "at": "", "valid_until": "", "why_not": ""}
            try:
                approval = here.bundle(name, version).approval
                row |= {"approved_by": approval.author, "at": approval.at, "valid_until": approval.valid_until}
                row |= {"why_not": here.why_not(approval), "in_use": here.in_use(name) == version}
            except Problem as problem:
                row["why_not"] = problem.sentence()
            found.append(row)
    if as_json:
        typer.echo(json.dumps(found, indent=1, ensure_ascii=False))
        return
    for row in found:
        told = f"{row['procedure']} {row['version']}"
        told += f", approved by {row['approved_by']} until {row['valid_until']}" if row["approved_by"] else ""
        state = f"NOT USED: {row['why_not']}" if row["why_not"] else "in use" if row["in_use"] else "kept"
        typer.echo(one_line(f"{told}: {state}"))
    if not found:
        typer.echo("No bundle was taken yet; what ships with the program is led as an example.")


def _author(key: Path | None, enrolment: Path | None, passphrase_file: Path | None, now: int) -> Author:
    listed = _enrolment(enrolment)
    file = key or state_folder() / OWN_AUTHOR
    return Author.of(opened_key(file, passphrase_file), listed, now)


def _enrolment(given: Path | None) -> Enrolment:
    found = known_enrolment(given)
    if found is None:
        raise Problem(
            "there is no enrolment list, so nobody knows the author",
            remedy="give one with --list; or on one machine: handsfree enrol --self --author NAME",
        )
    return found


def _latest(folder: Path, name: str) -> Bundle | None:
    """Return the bundle of the highest version in a folder."""
    found = [read_bundle(path) for path in folder.glob(f"{name}-*{ENDING}")] if folder.is_dir() else []
    of_name = [one for one in found if one.approval.procedure == name]
    return max(of_name, key=lambda one: numbers(one.approval.version), default=None)
