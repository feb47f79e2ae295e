"""Reading a record while it is being written or years later; no lock, no keys."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from handsfree.ledger.chain import batches_of, lines_of
from handsfree.ledger.diagnosis import LONGEST_TAIL, diagnose
from handsfree.ledger.entry import Entry
from handsfree.ledger.files import Disk, Files, disk_problem
from handsfree.ledger.head import Head
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import ExitCode, Problem


def batches(folder: Path, files: Files | None = None) -> Iterator[tuple[Entry, ...]]:
    """Yield the entries of a record, batch by batch: an input and what it caused were written together.

    What a crash or a writer at work left unfinished at the end is passed over. Raises Problem when the
    folder holds no record, when a newer version wrote it, or, after the last sound batch, when it is damaged.
    """
    files = files or Disk()
    visit = VisitFolder(folder)
    visit.must_hold_record(files)
    try:
        with files.read(visit.ledger) as stream:
            for found in batches_of(lines_of(stream)):
                if isinstance(found, tuple):
                    yield found
                    continue
                stream.seek(found.offset)
                if finding := diagnose(found, stream.read(LONGEST_TAIL)):
                    raise Problem(
                        f"the record is damaged at entry {finding.seq}: {finding.why}",
                        where=str(folder),
                        remedy="verify it",
                        code=ExitCode.FAILED,
                    )
    except OSError as error:
        raise disk_problem(error, "reading the record", visit.ledger) from error


def read(folder: Path, files: Files | None = None) -> Iterator[Entry]:
    """Yield the entries of a record in order; raises as `batches` does."""
    for batch in batches(folder, files):
        yield from batch


def head(folder: Path, files: Files | None = None) -> Head:
    """Return the count and digest of a record; raises as `batches` does, and Problem when it is empty."""
    last = None
    for last in read(folder, files):  # noqa: B007 - the last one is wanted
        pass
    if last is None:
        raise Problem("nothing was recorded here", where=str(folder))
    return Head(last.seq + 1, last.digest)
