"""Copying a record to hand it on, with or without the sound."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from handsfree.ledger.entry import canonical
from handsfree.ledger.files import Disk, Files, contents, disk_problem, ensure_folder, put
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import Problem


def export(folder: Path, target: Path, *, sound: bool, files: Files | None = None) -> int:
    """Copy a visit's record into a new or empty folder and return how many files were copied.

    Without sound, a note in the copy says so, and verification of the copy reports the clips as left out.
    Files that are no part of the record are not copied; `ledger.jsonl` is copied last, so that a copy cut
    short is not taken for a record. Raises Problem when there is no record, the target holds anything, or
    the disk fails.
    """
    files = files or Disk()
    source, copy = VisitFolder(folder), VisitFolder(target)
    source.must_hold_record(files)
    copied = 0
    try:
        ensure_folder(files, target, 0o755)
        if files.names(target):
            raise Problem("this folder is not empty", where=str(target), remedy="name a new one")
        for path in _parts(source, files, sound=sound):
            there = target / path.relative_to(folder)
            ensure_folder(files, there.parent, 0o755)
            put(files, there, contents(files, path))
            copied += 1
        if not sound:
            put(files, copy.export_note, canonical({"left_out": ["sound"]}) + b"\n")
        put(files, copy.ledger, contents(files, source.ledger))
    except OSError as error:
        raise disk_problem(error, "exporting the record", target) from error
    return copied + 1


def _parts(visit: VisitFolder, files: Files, *, sound: bool) -> Iterator[Path]:
    there = set(files.names(visit.folder))
    folders = [visit.sources, visit.set_aside, *([visit.sound] if sound else [])]
    for folder in folders:
        if folder.name in there:
            yield from (folder / name for name in files.names(folder))
    for path in (visit.redactions, visit.signoff, visit.export_note):
        if path.name in there:
            yield path
