"""Copying a record to hand it on, with or without the sound."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from handsfree.ledger.clock import Clock, SystemClock, stamp
from handsfree.ledger.device import DeviceKey, state_folder
from handsfree.ledger.entry import digest_of, members_named
from handsfree.ledger.files import Disk, Files, contents, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.manifest import sealed_manifest
from handsfree.ledger.reading import read
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import Problem


def export(
    folder: Path,
    target: Path,
    *,
    sound: bool,
    files: Files | None = None,
    clock: Clock | None = None,
    state: Path | None = None,
) -> int:
    """Copy a visit's record into a new or empty folder and return how many files were copied.

    Without sound, this device seals a list of the clips left out, and verification calls the copy reduced.
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
            own = path.parent == source.personal  # persons' data is for nobody else on this machine
            ensure_folder(files, there.parent, 0o700 if own else 0o755)
            put(files, there, contents(files, path), 0o600 if own else 0o644)
            copied += 1
        ledger = contents(files, source.ledger)
        if not sound:
            at = stamp((clock or SystemClock()).now().wall)
            key, clips = DeviceKey(state or state_folder(), files), sorted(clips_named(folder, files))
            put(files, copy.export_note, sealed_manifest(_identity(ledger), digest_of(ledger), clips, at, key))
        put(files, copy.ledger, ledger)
    except OSError as error:
        raise disk_problem(error, "exporting the record", target) from error
    return copied + 1


def clips_named(folder: Path, files: Files | None = None) -> set[str]:
    """Return the names of all clips that the record names; raises Problem as reading it does."""
    named = (name for entry in read(folder, files or Disk()) for name in members_named(entry.event, "sound"))
    return {name for name in named if is_digest(name)}


def _identity(ledger: bytes) -> str:
    return digest_of(ledger.split(b"\n", 1)[0])


def _parts(visit: VisitFolder, files: Files, *, sound: bool) -> Iterator[Path]:
    there = set(files.names(visit.folder))
    folders = [visit.personal, visit.sources, visit.set_aside, *([visit.sound] if sound else [])]
    for folder in folders:
        if folder.name in there:
            yield from (folder / name for name in files.names(folder))
    notes = (visit.redactions, visit.signoff, visit.endorsements, visit.timestamp)
    for path in (*notes, *([visit.export_note] if sound else [])):
        if path.name in there:
            yield path
