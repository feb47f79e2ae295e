"""The list of withdrawn versions: a signed line each, in a file that goes along with the bundles.

Lists are put together, never replaced: whoever hands on an older one takes nothing back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from handsfree.bundles.statement import Withdrawal, line_of, read_statement
from handsfree.ledger.files import Disk, disk_problem, ensure_folder, put
from handsfree.problem import Problem
from handsfree.regular_files import open_regular

NAME = "withdrawn.jsonl"
LARGEST_LIST = 4 << 20
"""Bytes; some thousands of withdrawals."""


def read_withdrawals(path: Path) -> tuple[Withdrawal, ...]:
    """Return what a list holds, none where there is no list; Problem at the first line that does not hold."""
    try:
        with open_regular(path) as stream:
            data = stream.read(LARGEST_LIST + 1)
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise disk_problem(error, "reading what was withdrawn", path) from error
    return withdrawals_of(data, str(path))


def withdrawals_of(data: bytes, where: str) -> tuple[Withdrawal, ...]:
    """Return what the bytes of a list hold; Problem at the first line that does not hold."""
    if len(data) > LARGEST_LIST:
        raise Problem("this is larger than any list of withdrawals", where=where)
    lines = [line for line in data.split(b"\n") if line]
    return tuple(read_statement(Withdrawal, line, f"{where}:{number}") for number, line in enumerate(lines, 1))


def write_withdrawals(path: Path, here: Sequence[Withdrawal], more: Iterable[Withdrawal]) -> int:
    """Add to a list what it does not hold yet; return how many that are."""
    known = [line_of(one) for one in here]
    new = [line for line in dict.fromkeys(map(line_of, more)) if line not in known]
    if new:
        try:
            ensure_folder(Disk(), path.parent, 0o755)
            put(Disk(), path, b"".join(line + b"\n" for line in (*known, *new)))
        except OSError as error:
            raise disk_problem(error, "keeping what was withdrawn", path) from error
    return len(new)


def withdrawn(procedure: str, version: str, withdrawals: Iterable[Withdrawal]) -> Withdrawal | None:
    """Return the first withdrawal of a version; None when there is none."""
    return next((one for one in withdrawals if one.procedure == procedure and version in one.versions), None)
