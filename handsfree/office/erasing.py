"""Erasing a person's data from beside a record: signed first, then deleted; the record itself is not touched."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import unicodedata
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.ledger import CLOSED, Clock, SystemClock, members_named, read
from handsfree.ledger.clock import stamp
from handsfree.ledger.files import Disk, Files, disk_problem
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.personal import LONGEST_TEXT, PersonalDatum, PersonalFiles, data_in, holds_names
from handsfree.ledger.visit import VisitFolder
from handsfree.office.endorsements import ERASED, LONGEST_REMARK, kept_lines, read_endorsements, unsigned
from handsfree.office.endorsing import Prepared, supervisor
from handsfree.office.enrolment import Enrolment
from handsfree.office.signatures import Signer
from handsfree.problem import Problem

AT_ONCE = 400
"""Digests in one statement, so that its line stays shorter than any line may be."""

_PIECE = 1 << 20

TECHNICIAN = "technician"
"""Whose voice the sounds hold."""
SEVERAL = "second person"
"""A role that several have: by the role all of them are erased, by a name only that one."""


@dataclass(frozen=True)
class PersonsData:
    """What lies beside one record of one person; `names` are theirs, where they are still here."""

    whose: str
    pieces: tuple[PersonalDatum, ...]
    sounds: tuple[str, ...]
    names: tuple[str, ...] = ()
    identity: str = ""
    other_sounds: int = 0
    """Sounds that are taken for the technician's, and may hold this person's voice too."""


def data_of(
    folder: Path, person: str, files: Files | None = None, carried: Collection[str] = ()
) -> PersonsData | None:
    """Return what a record holds of a person, named by a role ("technician") or by name; None when nothing.

    `carried` are the commitments to this person's data in other records: words carried in from there keep them.
    """
    files = files or Disk()
    payloads = PersonalFiles(VisitFolder(folder), files)
    pieces: dict[str, PersonalDatum] = {}
    sounds: dict[str, None] = {}
    identity = in_clear = ""
    for entry in read(folder, files):
        if not identity:
            identity, in_clear = entry.digest, str(entry.event.get("technician", ""))
        pieces |= {one.commitment: one for one in data_in(entry.event)}
        sounds |= {str(name): None for name in members_named(entry.event, "sound") if is_digest(name)}
    in_clear = "" if holds_names(in_clear) else in_clear  # as records made before schema 13 name the technician
    texts = {one: (payloads.payload(one) or b"")[:LONGEST_TEXT].decode("utf-8", "replace") for one in pieces}
    named = {one for one, text in texts.items() if _alike(text) == _alike(person)}
    whose = {pieces[one].whose for one in named}
    if in_clear and _alike(in_clear) == _alike(person):
        whose |= {TECHNICIAN}
    whose = whose or {person}
    roles = whose - {SEVERAL} if named else whose
    own = [one for one in pieces.values() if one.commitment in named or one.whose in roles]
    voices = tuple(sounds) if TECHNICIAN in whose else ()
    also = tuple(one for one in pieces.values() if one.commitment in carried and one not in own)
    if not own and not voices:
        return (
            PersonsData(", ".join(sorted({one.whose for one in also})), also, (), (), identity) if also else None
        )
    names = {texts[one.commitment]: None for one in own if one.what == "name"}
    names |= {in_clear: None} if TECHNICIAN in whose else {}
    others = 0 if voices else len(sounds)
    clear = tuple(name for name in names if name)
    return PersonsData(", ".join(sorted(whose)), (*own, *also), voices, clear, identity, others)


@dataclass(frozen=True)
class Erased:
    """What went of one record: pieces and sounds, and in how many entries the name still stands in clear words."""

    folder: Path
    pieces: int
    sounds: int
    still_named: int = 0
    other_sounds: int = 0


def erase(
    folder: Path,
    data: PersonsData,
    signer: Signer,
    enrolment: Enrolment | None,
    *,
    reason: str,
    clock: Clock | None = None,
    files: Files | None = None,
) -> Erased:
    """Sign that a person's data is erased, and delete it; what was signed before is not signed again.

    What was altered, or gone, before it was erased is signed with the reason: an erasure hides no other hand.

    Raises Problem when no reason is given, the signer is no enrolled supervisor, or the disk fails. A crash leaves
    the files, or the statement, or both: doing it again, or `carry_out` alone, completes it.
    """
    files, who = files or Disk(), supervisor(enrolment, signer.key, clock)
    if not reason.strip() or len(reason) > LONGEST_REMARK:
        raise Problem(f"an erasure says why, in 1 to {LONGEST_REMARK} characters", where=str(folder))
    named = _clear_words(folder, data.names, files)
    before = read_endorsements(kept_lines(folder, files), data.identity, enrolment).erased()
    pieces = [one.commitment for one in data.pieces if one.commitment not in before]
    sounds = [one for one in data.sounds if one not in before]
    for some_pieces, some_sounds in _portions(pieces, sounds):
        lines = tuple(kept_lines(folder, files))
        says = {
            "commitments": sorted(some_pieces),
            "kind": ERASED,
            "reason": f"{reason.strip()}{_not_as_kept(VisitFolder(folder), files, some_pieces, some_sounds)}",
            "sounds": sorted(some_sounds),
            "whose": data.whose,
        }
        at = stamp((clock or SystemClock()).now().wall)
        statement = unsigned(data.identity, read_endorsements(lines, data.identity, enrolment), who, at, says)
        Prepared((folder,), (statement,), who, (lines,)).signed(signer, files)
    carry_out(folder, enrolment, files)
    return Erased(folder, len(data.pieces), len(data.sounds), named, data.other_sounds)


def carry_out(folder: Path, enrolment: Enrolment | None, files: Files | None = None) -> int:
    """Delete what was signed to be erased from a record, on whichever copy; return how much was signed.

    Beside a closed record goes what no entry names, too: a crash leaves such files, and nobody can tell whose.

    Raises Problem when the disk fails, or a link stands where a folder belongs: what it leads to is not ours.
    """
    files, visit = files or Disk(), VisitFolder(folder)
    identity, closed, named = "", False, set[str]()
    for entry in read(folder, files):
        identity, closed = identity or entry.digest, entry.kind == CLOSED
        named |= {one.commitment for one in data_in(entry.event)}
        named |= {str(name) for name in members_named(entry.event, "sound")}
    erased = read_endorsements(kept_lines(folder, files), identity, enrolment).erased()
    try:
        for place, ending in ((visit.personal, ""), (visit.sound, ".flac")):
            if files.linked(place):
                raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), str(place))  # noqa: TRY301 - told as the disk's
            names = set(files.names(place)) if place.name in files.names(folder) else set()
            loose = (
                {each for each in names if each.removesuffix(ending) not in named} if closed and erased else set()
            )
            for name in sorted(loose | {each for each in names if each.removesuffix(ending) in erased}):
                files.unlink(place / name)
            if names:
                files.fsync_folder(place)
    except OSError as error:
        raise disk_problem(error, "erasing", folder) from error
    return len(erased)


def _portions(pieces: Sequence[str], sounds: Sequence[str]) -> Iterator[tuple[Sequence[str], Sequence[str]]]:
    """Yield what one statement erases, then the next."""
    if pieces or sounds:
        yield pieces[:AT_ONCE], sounds[:AT_ONCE]
        yield from _portions(pieces[AT_ONCE:], sounds[AT_ONCE:])


def _not_as_kept(visit: VisitFolder, files: Files, pieces: Sequence[str], sounds: Sequence[str]) -> str:
    """Return how many of the files were altered or gone before, as a clause; nothing where none was."""
    paths = {visit.personal_file(one): one for one in pieces} | {visit.clip(one): one for one in sounds}
    altered = gone = 0
    for path, digest in paths.items():
        try:
            with files.read(path) as stream:
                running = hashlib.sha256()
                while piece := stream.read(_PIECE):
                    running.update(piece)
                altered += running.hexdigest() != digest
        except FileNotFoundError:
            gone += 1
        except OSError as error:
            raise disk_problem(error, "erasing", path) from error
    told = [f"{count} {how}" for count, how in ((altered, "altered"), (gone, "not there")) if count]
    return f" (before it: {' and '.join(told)} of {len(paths)})" if told else ""


def _alike(text: str) -> str:
    """Return a name as names are compared: whatever its case, its composed letters and the spaces around it."""
    return unicodedata.normalize("NFC", text).strip().casefold()


def _clear_words(folder: Path, names: Sequence[str], files: Files) -> int:
    """Return in how many entries a name stands in clear words, typed or noted: these cannot be erased."""
    written = [json.dumps(name, ensure_ascii=False)[1:-1].casefold() for name in names]
    return sum(any(name in entry.line.decode().casefold() for name in written) for entry in read(folder, files))
