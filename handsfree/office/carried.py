"""The newest checkpoint of the office's log that a device has seen: each new visit takes it into its first entry.

Nobody can know a checkpoint before the office signed it, so a visit that carries one began no earlier than that.
A device can carry an older one than it has; so this bounds a visit's beginning from below, and its arrival in the
log bounds its end from above.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

from handsfree.ledger import VerificationReport, state_folder
from handsfree.ledger.chain import LONGEST_LINE
from handsfree.ledger.clock import milliseconds
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.ledger.verification import CLOCKS_DIFFER_BY
from handsfree.ledger.visit import VisitFolder
from handsfree.office.kept_key import open_key
from handsfree.office.log import line_signed_at, size_told
from handsfree.problem import Problem
from handsfree.regular_files import open_regular

NAME = "office-checkpoint"
MEMBER = "checkpoint"
"""What the first entry of a visit calls it."""


def carry(note: str, state: Path | None = None) -> bool:
    """Keep a checkpoint for the visits to come when it counts more lines than the one kept; say whether it was.

    Whoever calls has it from the office. Problem when it is no checkpoint, or the disk fails.
    """
    path = (state or state_folder()) / NAME
    size = size_told(note)
    kept = carried(state)
    if kept and size_told(kept) >= size:
        return False
    try:
        ensure_folder(Disk(), path.parent, 0o700)
        put(Disk(), path, note.encode())
    except OSError as error:
        raise disk_problem(error, "keeping the office's checkpoint", path) from error
    return True


def carried(state: Path | None = None) -> str:
    """Return the checkpoint that visits take along; empty where none is kept, or what is kept is none."""
    try:
        note = contents(Disk(), (state or state_folder()) / NAME).decode()
        size_told(note)
    except (OSError, UnicodeDecodeError, Problem):
        return ""
    return note


def carried_by(folder: Path) -> str:
    """Return the checkpoint in the first entry of a record; empty where there is none."""
    try:
        with open_regular(VisitFolder(folder).ledger) as stream:
            note = json.loads(stream.readline(LONGEST_LINE))["event"].get(MEMBER, "")
    except (OSError, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        return ""
    return note if isinstance(note, str) else ""


def not_earlier(report: VerificationReport, state: Path | None = None) -> tuple[str, str]:
    """Return a remark and a fault on the checkpoint that a visit carries, each empty where there is none.

    It is held against the log that this machine keeps; elsewhere only its size can be told.
    """
    note = carried_by(report.folder)
    if not note:
        return "", ""
    try:
        size = size_told(note)
        if not size:
            return "", ""
        since = _since(note, *_log_here(state or state_folder()))
    except Problem as problem:
        return f"the checkpoint that it carries is not one of the log here: {problem.what}", ""
    if not since:
        return f"it carries a checkpoint of {size} lines of an office's log, which is not kept here", ""
    remark = f"it began not earlier than {since}: it carries the checkpoint of line {size} of the office's log"
    opened = report.opened_at
    if opened is not None and milliseconds(opened) + CLOCKS_DIFFER_BY < milliseconds(since):
        return "", f"it says that it began {opened}, but carries a checkpoint that the office signed at {since}"
    return remark, ""


def _log_here(state: Path) -> tuple[Path, int]:
    log = state / "log"
    try:
        return log, (log / "checkpoint").stat().st_mtime_ns
    except OSError:
        return log, 0


@lru_cache(maxsize=64)
def _since(note: str, log: Path, changed: int) -> str:
    """Return when the last line that a checkpoint counts came into the log; empty where no log is kept here.

    Many visits of one day carry the same; `changed` tells one state of the log from the next.
    """
    if not changed:
        return ""
    public = open_key(log.parent / "log.pem", None).public
    return line_signed_at(log, public, note)
