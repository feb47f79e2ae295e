"""The record of a visit: verify it, say its count and checksum, redact, export, and hand over the device key."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.commands.enrolling import opened_key
from handsfree.ledger import (
    DeviceKey,
    RecordVerdict,
    Replay,
    VerificationReport,
    across,
    export,
    given_head,
    head,
    members_named,
    read,
    state_folder,
)
from handsfree.ledger.report import AnchorState
from handsfree.office.endorsing import redact_clip
from handsfree.office.enrolment import Enrolment
from handsfree.office.signatures import KeyHolder
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.problem import ExitCode, Problem, one_line
from handsfree.visit.carried_in import with_carried_in
from handsfree.visit.replaying import replay_of

app = typer.Typer(help="The record of a visit.", no_args_is_help=True)

_Folder = Annotated[Path, typer.Argument(help="The folder of a visit.")]
_Enrolment = Annotated[
    Path | None, typer.Option(help="The office's enrolment list; this machine's own copy when left out.")
]
_AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]
_Unchecked = tuple[Path, Problem]


@app.command("verify")
def verify_command(
    folders: Annotated[list[Path], typer.Argument(help="The folders of the visits.")],
    *,
    device_key: Annotated[
        str | None, typer.Option(help="The device's public key as handed over: 64 hex digits, or a file of them.")
    ] = None,
    enrolment: _Enrolment = None,
    accept_unanchored: Annotated[
        bool, typer.Option("--accept-unanchored", help="Do without anybody who vouches for the sealing key.")
    ] = False,
    noted: Annotated[
        str | None, typer.Option("--head", help='Count and checksum noted elsewhere: "214: 481 204 077 316".')
    ] = None,
    jobs: Annotated[int, typer.Option(min=1, help="How many records to check at a time.")] = os.cpu_count() or 1,
    as_json: _AsJson = False,
) -> None:
    """Check that records are whole, in order and sealed, and name the first entry that is not."""
    check_folders(
        folders,
        device_key=device_key,
        enrolment=known_enrolment(enrolment),
        accept_unanchored=accept_unanchored,
        noted=noted,
        jobs=jobs,
        as_json=as_json,
        replaying=replay_of,
    )


@app.command("head")
def head_command(folder: _Folder) -> None:
    """Say the count of entries and the checksum, to be noted by the office."""
    found = head(folder)
    typer.echo(f"{found.count}: {found.checksum}")


@app.command("device-key")
def device_key_command(
    *,
    new: Annotated[
        bool, typer.Option("--new", help="Make a new key; the old public key stays good for old records.")
    ] = False,
) -> None:
    """Print this device's public key, to be kept away from it; the key is made on first use."""
    device = DeviceKey(state_folder())
    typer.echo(device.renew() if new else device.public_key())


@app.command("redact")
def redact_command(
    folder: _Folder,
    entry: Annotated[int, typer.Argument(help="The number of the entry whose sound is to be removed.")],
    *,
    reason: Annotated[str, typer.Option(help="Why.")],
    key: Annotated[Path, typer.Option(help="Your own key, enrolled as a supervisor's.")],
    enrolment: _Enrolment = None,
    passphrase_file: Annotated[
        Path | None, typer.Option(help="A file whose first line is the passphrase.")
    ] = None,
) -> None:
    """Delete the sound of one entry for good; the record still verifies and says who did it."""
    found = next((each for each in read(folder) if each.seq == entry), None)
    if found is None:
        raise Problem(f"the record has no entry {entry}", where=str(folder))
    sounds = [str(name) for name in members_named(found.event, "sound")]
    if not sounds:
        raise Problem(f"entry {entry} has no sound", where=str(folder))
    signer, listed = KeyHolder(opened_key(key, passphrase_file)), known_enrolment(enrolment)
    for sound in sounds:
        said = redact_clip(folder, sound, signer, listed, reason=reason)
        typer.echo(one_line(f"the sound of entry {entry} was {said}"))


@app.command("export")
def export_command(
    folder: _Folder,
    target: Annotated[Path, typer.Argument(help="A new folder for the copy.")],
    *,
    without_sound: Annotated[bool, typer.Option("--without-sound", help="Leave the clips out.")] = False,
) -> None:
    """Copy a record to hand it on."""
    copied = export(folder, target, sound=not without_sound)
    typer.echo(f"{copied} files were copied to {target}")


def check_folders(
    folders: Sequence[Path],
    *,
    device_key: str | None,
    enrolment: Enrolment | None,
    accept_unanchored: bool,
    noted: str | None,
    jobs: int,
    as_json: bool,
    replaying: Callable[[Path], Replay] | None,
) -> None:
    """Verify records side by side, print what was found, and leave with the exit code that it calls for.

    `replaying` gives what decides the visit of a folder again; it is a function at the top of a module,
    since it goes to other processes.
    """
    if noted is not None and len(folders) > 1:
        raise Problem("a count and checksum belong to one record", remedy="verify that one by itself")
    check = partial(
        _checked,
        device_key=None if device_key is None else _key_given(device_key),
        enrolment=enrolment,
        expected=None if noted is None else given_head(noted),
        replaying=replaying,
    )
    found = list(_with_progress(check, folders, min(jobs, len(folders))))
    reports = [each for each in found if isinstance(each, VerificationReport)]
    odd = across(reports)
    if as_json:
        records = [
            each.as_json() if isinstance(each, VerificationReport) else _unchecked_json(each) for each in found
        ]
        typer.echo(json.dumps({"records": records, "across": list(odd)}, indent=1))
    else:
        for each in found:
            _print(each, accept_unanchored=accept_unanchored)
        for sentence in odd:
            typer.echo(f"across records: {sentence}")
    unchecked = len(reports) < len(found)
    raise typer.Exit(_code(reports, odd, unchecked=unchecked, accept_unanchored=accept_unanchored))


def _checked(
    folder: Path,
    *,
    device_key: str | None,
    enrolment: Enrolment | None,
    expected: tuple[int, str] | None,
    replaying: Callable[[Path], Replay] | None,
) -> VerificationReport | _Unchecked:
    try:
        replay = None if replaying is None else replaying(folder)
        report = verify_anchored(
            folder, enrolment, device_key=device_key, expected=expected, state=state_folder(), replay=replay
        )
        return report if report.verdict == RecordVerdict.BROKEN else with_carried_in(report)
    except Problem as problem:
        return folder, problem
    except Exception as error:  # noqa: BLE001 - one record that breaks the checking must not hide the others
        return folder, Problem(f"it cannot be checked ({type(error).__name__})", where=str(folder))


def _with_progress(
    check: partial[VerificationReport | _Unchecked], folders: Sequence[Path], jobs: int
) -> Iterator[VerificationReport | _Unchecked]:
    if len(folders) == 1:
        yield check(folders[0])
        return
    from concurrent.futures import ProcessPoolExecutor  # noqa: PLC0415 - what draws and divides work for many
    from multiprocessing import get_context  # noqa: PLC0415

    from rich.console import Console  # noqa: PLC0415
    from rich.progress import Progress  # noqa: PLC0415

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("verifying", total=len(folders))
        if jobs == 1:
            for folder in folders:
                yield check(folder)
                progress.advance(task)
            return
        with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
            for each in pool.map(check, folders):
                yield each
                progress.advance(task)


def _key_given(text: str) -> str:
    """Return the device key from an option that holds it or names a file that does."""
    path = Path(text)
    try:
        key = (path.read_text("utf-8", errors="replace") if path.is_file() else text).strip().lower()
    except OSError as error:
        raise Problem("this file cannot be read", where=text) from error
    if len(key) != 64 or set(key) - set("0123456789abcdef"):
        raise Problem("a device key is 64 hex digits", where="--device-key")
    return key


def _print(found: VerificationReport | _Unchecked, *, accept_unanchored: bool) -> None:
    """Print what was found; every line is made one, since names and reasons in it may be anybody's."""
    if not isinstance(found, VerificationReport):
        typer.echo(f"not checked: {found[1].sentence()}")
        return
    typer.echo(one_line(f"{found.folder}: {found.verdict}: {found.sentence}"))
    for finding in found.findings[1:]:
        typer.echo(one_line(f"  also entry {finding.seq}: {finding.fault} ({finding.why})"))
    for remark in found.remarks:
        typer.echo(one_line(f"  {remark}"))
    typer.echo(f"  checked: {', '.join(found.checks) or 'nothing'}")
    if found.anchor is not None:
        accepted = "; accepted as it is" if accept_unanchored and not found.anchor.holds else ""
        name = "" if found.anchor.state is AnchorState.DEMO else f"{found.anchor.state}: "
        typer.echo(one_line(f"  {name}{found.anchor.says}{accepted}"))


def _unchecked_json(unchecked: _Unchecked) -> dict[str, Any]:
    folder, problem = unchecked
    return {"folder": str(folder), "verdict": "not checked", "ok": False, "sentence": problem.sentence()}


def _code(
    reports: Sequence[VerificationReport], odd: Sequence[str], *, unchecked: bool, accept_unanchored: bool
) -> ExitCode:
    """Return the gravest of: a fault, a folder not checked, nobody who vouches, left open, reduced, all well."""
    if odd or any(report.verdict == RecordVerdict.BROKEN or not report.checks for report in reports):
        return ExitCode.FAILED
    if unchecked:
        return ExitCode.BAD_INPUT
    if not accept_unanchored and any(report.anchor and not report.anchor.holds for report in reports):
        return ExitCode.UNANCHORED
    if not all(report.whole for report in reports):
        return ExitCode.LEFT_OPEN
    return ExitCode.DONE if all(report.verdict == RecordVerdict.CLOSED for report in reports) else ExitCode.REDUCED
