"""Maker's data held against the manual: who signed that every figure of a version is as the manual has it.

A sheet is checked when two people did, each by a key of their own: whoever wrote it down, and a second one. What
they signed stands beside the sheet, a line each. A version is withdrawn as a procedure's is, by name and number.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from handsfree.bundles.statement import (
    AuthorsStatement,
    Digest,
    Name,
    Text,
    Version,
    fault_of_author,
    line_of,
    read_statement,
)
from handsfree.bundles.withdrawals import WithdrawalList, withdrawn
from handsfree.ledger.files import Disk, disk_problem, put
from handsfree.office.enrolment import Enrolment
from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import open_regular

ENDING = ".checked.jsonl"
PEOPLE = 2
"""How many must have signed: no source; that a second person looks is common practice."""
LARGEST = 1 << 20


class SheetSigned(AuthorsStatement):
    """One person has held every figure of a sheet against the manual."""

    kind: Literal["sheet-checked"] = "sheet-checked"
    sheet: Name
    """The sheet's file, without its ending."""
    version: Version
    appliance: Text
    manual: Text
    revision: Text
    sheet_sha256: Digest
    figures: Annotated[int, Field(ge=1)]
    """How many figures were held against the manual, one by one."""


@dataclass(frozen=True)
class SheetCheck:
    """What stands behind a sheet: its signatures that count, and why others do not."""

    people: tuple[str, ...]
    faults: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether a second person has checked it."""
        return len(self.people) >= PEOPLE

    @property
    def sentence(self) -> str:
        """What is told of it."""
        if self.holds:
            return f"every figure held against the manual by {' and by '.join(self.people)}"
        own = f"only {self.people[0]} has signed it" if self.people else "nobody has signed it"
        return f"no second person has checked it against the manual: {own}"


def check_file(sheet: Path) -> Path:
    """Return where the signatures of a sheet stand."""
    return sheet.with_name(f"{sheet.stem}{ENDING}")


def read_signed(path: Path) -> tuple[SheetSigned, ...]:
    """Return what was signed, nothing where there is no file; Problem with its line for one that does not hold."""
    try:
        with open_regular(path) as stream:
            data = stream.read(LARGEST + 1)
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise disk_problem(error, "reading what was signed", path) from error
    if len(data) > LARGEST:
        raise Problem("this is larger than any list of signatures", where=str(path))
    lines = [line for line in data.split(b"\n") if line]
    return tuple(read_statement(SheetSigned, line, f"{path}:{number}") for number, line in enumerate(lines, 1))


def add_signed(path: Path, signed: SheetSigned) -> None:
    """Add a line; Problem where another text of this sheet was signed under the same version."""
    here = read_signed(path)
    for one in here:
        if one.version == signed.version and one.sheet_sha256 != signed.sheet_sha256:
            raise Problem(
                f"{one.by.name} has signed another text as version {one.version}",
                where=str(path),
                remedy="raise `version` in the sheet: what was signed is not changed",
                code=ExitCode.FAILED,
            )
    try:
        put(Disk(), path, b"".join(line_of(one) + b"\n" for one in (*here, signed)))
    except OSError as error:
        raise disk_problem(error, "keeping what was signed", path) from error


def checked(content: bytes, version: str | None, signed: tuple[SheetSigned, ...], listed: Enrolment) -> SheetCheck:
    """Return who has signed these very bytes as this version; each person counts once, by name and by key."""
    digest = hashlib.sha256(content).hexdigest()
    people: dict[str, str] = {}
    faults = []
    for one in signed:
        if (one.version, one.sheet_sha256) != (version, digest):
            faults.append(f"{one.by.name} signed another text, version {one.version}")
        elif fault := fault_of_author(one, listed):
            faults.append(fault)
        elif one.by.name not in people.values():
            people[one.by.key] = one.by.name
    return SheetCheck(tuple(people.values()), tuple(faults))


def why_withdrawn(sheet: str, version: str | None, withdrawals: WithdrawalList, listed: Enrolment) -> str:
    """Return by whom a version of a sheet was withdrawn, and why; empty when it was not."""
    if version is None:
        return ""
    vouched = (one for one in withdrawals.whole if not fault_of_author(one, listed))
    recall = withdrawn(sheet, version, vouched)
    return "" if recall is None else f"{recall.author} withdrew it at {recall.at}: {recall.why}"
