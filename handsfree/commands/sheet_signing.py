"""A person holds each figure of the maker's data against the manual and signs it; two people make a check."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path

import typer
from pydantic import BaseModel, ValidationError

from handsfree.bundles.sheet_check import SheetSigned, add_signed, check_file
from handsfree.bundles.statement import signed
from handsfree.commands.enrolling import OWN_AUTHOR, opened_key
from handsfree.commands.interview import Interview
from handsfree.documents import read_document
from handsfree.ledger import SystemClock, state_folder
from handsfree.ledger.clock import stamp
from handsfree.office.signatures import KeyHolder
from handsfree.office.verification import known_enrolment
from handsfree.plain import plainly
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.sheet_questions import SheetQuestion
from handsfree.procedure.sheets import read_appliance_sheet
from handsfree.procedure.written_answers import yes_or_no
from handsfree.release.making import Author
from handsfree.trades.sheets import ApplianceSheet

_NOT_FIGURES = frozenset({"handsfree", "trade", "version", "manual", "appliance"})


def sign_sheet(file: Path, key: Path | None, enrolment: Path | None, passphrase_file: Path | None) -> None:
    """Ask of each figure whether it is as the manual has it, and sign; a "no" signs nothing.

    Each yes is kept beside the sheet until all are given, for this person and this very figure: after an interrupt
    the same command goes on.

    Raises Problem for a sheet without a version, one that does not read, a key that is no author's, and another
    text that was signed under the same version.
    """
    document = read_document(file)
    sheet = read_appliance_sheet(document)
    if sheet.version is None:
        raise Problem("this sheet has no version", where=str(file), remedy="write `version: 1.0.0` above `manual`")
    listed = known_enrolment(enrolment)
    if listed is None:
        remedy = "give one with --list; or on one machine: handsfree enrol --self --author NAME"
        raise Problem("there is no enrolment list, so nobody knows who signs", remedy=remedy)
    now = SystemClock().now().wall
    author = Author.of(opened_key(key or state_folder() / OWN_AUTHOR, passphrase_file), listed, now)
    typer.echo(f"{sheet.appliance}: {sheet.manual.file}, revision {sheet.manual.revision}")
    asked = list(figures(sheet))
    interview = Interview(file.with_name(f".{file.stem}.{author.listed.key[:16]}"))
    interview.lead(partial(_hold, interview, asked, file))
    says = {
        "sheet": file.stem, "version": sheet.version, "appliance": sheet.appliance, "manual": sheet.manual.file,
        "revision": sheet.manual.revision, "sheet_sha256": hashlib.sha256(document.text.encode()).hexdigest(),
        "figures": len(asked), "at": stamp(now),
    }  # fmt: skip
    try:
        statement = signed(SheetSigned, says, author.listed, KeyHolder(author.key))
    except ValidationError as error:
        raise Problem(f"this sheet cannot be signed: {plainly(error.errors()[0])}", where=str(file)) from error
    add_signed(check_file(file), statement)
    interview.done()
    typer.echo(
        f"{check_file(file)}: {len(asked)} figures of version {sheet.version} signed by {statement.by.name}"
    )


def _hold(interview: Interview, asked: list[str], file: Path) -> None:
    """Have each figure held against the manual; Problem at the first that is not as the manual has it."""
    for figure in asked:
        question = SheetQuestion(figure, f"{figure}. As in the manual? (yes or no)", choices=("yes", "no"))
        if not interview.ask(question, yes_or_no):
            interview.forget(figure)
            what = f"nothing is signed: not as in the manual is {figure}"
            raise Problem(what, where=str(file), remedy="correct it and sign again", code=ExitCode.FAILED)


def figures(sheet: ApplianceSheet) -> Iterator[str]:
    """Yield each figure of a sheet in its order, with the page it is from where it has one."""
    for name, value in sheet:
        if name not in _NOT_FIGURES:
            yield from _told(_said(name), value)


def _told(at: str, value: object) -> Iterator[str]:
    if isinstance(value, BaseModel):
        own = {name: one for name, one in value if one is not None}
        if any(isinstance(one, BaseModel | Mapping) for one in own.values()):
            for name, one in own.items():
                yield from _told(f"{at}, {_said(name)}", one)
        else:
            yield f"{at}: {', '.join(f'{_said(name)} {one}' for name, one in own.items())}"
    elif isinstance(value, Mapping):
        for name, one in value.items():
            yield from _told(f"{at}, {_said(str(name))}", one)
    elif value is not None:
        yield f"{at}: {value}"


def _said(name: str) -> str:
    return name.replace("_", " ")
