"""The same visit once more, with sound that the copy here lacks: what may be taken over is."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Collection, Iterator
from pathlib import Path

from handsfree.ledger.export import clips_named
from handsfree.ledger.files import Disk, disk_problem, ensure_folder, put
from handsfree.ledger.kinds import SOUND_REDACTED
from handsfree.ledger.redaction import Redactions
from handsfree.ledger.visit import VisitFolder
from handsfree.office.endorsements import ERASED, kept_lines
from handsfree.problem import Problem
from handsfree.regular_files import open_regular

CLIP = ".flac"
LARGEST_CLIP = 64 << 20
"""Bytes; an utterance has a hundredth of it."""


def fill_up(place: Path, folder: Path, identity: str, redacted: Collection[str]) -> int:
    """Take over the clips that the record names and only the other copy has; return how many.

    A clip that somebody redacted stays away, whichever copy says so; so does one that is not what its name says.
    `identity` is the digest of the record's first entry, `redacted` what people are known to have redacted.

    """
    files, taken, wanted = Disk(), 0, set[str]()
    gone = {
        *redacted,
        *_redacted_here(place),
        *_redacted_on_a_device(place, identity),
        *_redacted_on_a_device(folder, identity),
    }
    lacking = _sounds(folder) - _sounds(place)
    with contextlib.suppress(Problem):  # a record that cannot be read names nothing
        named = clips_named(place) - gone if lacking else set()
        wanted = {f"{clip}{CLIP}" for clip in named} & lacking
    for name in sorted(wanted):
        with open_regular(folder / "sound" / name) as stream:
            data = stream.read(LARGEST_CLIP)
        if hashlib.sha256(data).hexdigest() != name.removesuffix(CLIP):
            continue
        try:
            ensure_folder(files, place / "sound", 0o755)
            put(files, place / "sound" / name, data)
        except OSError as error:
            raise disk_problem(error, "taking a sound over", place / "sound" / name) from error
        taken += 1
    return taken


def _redacted_here(place: Path) -> Iterator[str]:
    """Yield the clips that people redacted or erased here: without a list nobody can say whether they might."""
    for line in kept_lines(place):
        with contextlib.suppress(ValueError, TypeError, KeyError, RecursionError):
            members = json.loads(line)
            if members["kind"] == SOUND_REDACTED:
                yield str(members["sound"])
            elif members["kind"] == ERASED:
                yield from map(str, members["sounds"])


def _redacted_on_a_device(folder: Path, identity: str) -> Collection[str]:
    """Return the clips that a line of an earlier version's redactions names, whether it holds or not."""
    return Redactions.read(VisitFolder(folder), Disk(), identity).named


def left_behind(folder: Path, place: Path) -> str:
    """Say how many sounds the other copy has that this one lacks; nothing when there are none."""
    more = len(_sounds(folder) - _sounds(place))
    return (
        f"; it came with {more} sounds that are redacted, no part of it, or damaged, and were not taken over"
        if more
        else ""
    )


def _sounds(folder: Path) -> set[str]:
    """Return the names of the plain files in a visit's folder of sound; no link is followed."""
    sound = folder / "sound"
    if sound.is_symlink() or not sound.is_dir():
        return set()
    with os.scandir(sound) as entries:
        return {each.name for each in entries if each.is_file(follow_symlinks=False)}
