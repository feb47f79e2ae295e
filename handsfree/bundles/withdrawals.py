"""The list of withdrawn versions: a signed line each, in a file that goes along with the bundles.

Lists are put together, never replaced: whoever hands on an older one takes nothing back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from handsfree.bundles.statement import Withdrawal, line_of, read_statement
from handsfree.ledger.files import Disk, disk_problem, ensure_folder, put
from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import open_regular

NAME = "withdrawn.jsonl"
_REMEDY = "take the office's newest list; a line that still does not hold is looked at and taken out by hand"
LARGEST_LIST = 4 << 20
"""Bytes; some thousands of withdrawals."""


@dataclass(frozen=True)
class WithdrawalList:
    """A list as it lies: the lines that hold, and those that do not."""

    whole: tuple[Withdrawal, ...] = ()
    damaged: tuple[bytes, ...] = ()
    fault: str = ""
    """What is wrong with the first line that does not hold, and where; empty where all do."""

    def must_be_whole(self) -> tuple[Withdrawal, ...]:
        """Return what the list holds; Problem where a line does not hold, for nobody knows what it withdrew."""
        if self.fault:
            raise Problem(self.fault, remedy=_REMEDY, code=ExitCode.FAILED)
        return self.whole


def read_withdrawals(path: Path) -> WithdrawalList:
    """Return what a list holds, none where there is no list; Problem when it cannot be read, or is too large."""
    try:
        with open_regular(path) as stream:
            data = stream.read(LARGEST_LIST + 1)
    except FileNotFoundError:
        return WithdrawalList()
    except OSError as error:
        raise disk_problem(error, "reading what was withdrawn", path) from error
    return withdrawals_of(data, str(path))


def withdrawals_of(data: bytes, where: str) -> WithdrawalList:
    """Return what the bytes of a list hold, each line by itself; Problem when they are too many."""
    if len(data) > LARGEST_LIST:
        raise Problem("this is larger than any list of withdrawals", where=where)
    whole, damaged, fault = [], [], ""
    for number, line in enumerate((line for line in data.split(b"\n") if line), 1):
        try:
            whole.append(read_statement(Withdrawal, line, f"{where}:{number}"))
        except Problem as problem:
            damaged.append(line)
            fault = fault or f"{problem.where}: {problem.what}"
    return WithdrawalList(tuple(whole), tuple(damaged), fault)


def write_withdrawals(path: Path, here: WithdrawalList, more: Iterable[Withdrawal]) -> int:
    """Add to a list what it does not hold yet; return how many that are.

    A line that does not hold stays, since it withdrew something, until one is added that it is the beginning of,
    down to its signature: every withdrawal of a day begins alike.
    """
    known = [line_of(one) for one in here.whole]
    new = [line for line in dict.fromkeys(map(line_of, more)) if line not in known]
    damaged = [one for one in here.damaged if not any(_begins(one, line) for line in (*known, *new))]
    if new or len(damaged) < len(here.damaged):
        try:
            ensure_folder(Disk(), path.parent, 0o755)
            put(Disk(), path, b"".join(line + b"\n" for line in (*known, *damaged, *new)))
        except OSError as error:
            raise disk_problem(error, "keeping what was withdrawn", path) from error
    return len(new)


def _begins(damaged: bytes, line: bytes) -> bool:
    """Say whether a damaged line was a whole one before: it is cut off after its signature, which no other has."""
    return line.startswith(damaged) and b"}" in damaged.partition(b'"signature":')[2]


def withdrawn(procedure: str, version: str, withdrawals: Iterable[Withdrawal]) -> Withdrawal | None:
    """Return the first withdrawal of a version; None when there is none."""
    return next((one for one in withdrawals if one.procedure == procedure and version in one.versions), None)
