"""Erasing a person's data from beside a record: signed first, then deleted; the record itself is not touched."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.ledger import Clock, SystemClock, members_named, read
from handsfree.ledger.clock import stamp
from handsfree.ledger.files import Disk, Files, disk_problem
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.personal import PersonalDatum, PersonalFiles, data_in
from handsfree.ledger.visit import VisitFolder
from handsfree.office.endorsements import ERASED, LONGEST_REMARK, kept_lines, read_endorsements, unsigned
from handsfree.office.endorsing import Prepared, supervisor
from handsfree.office.enrolment import Enrolment
from handsfree.office.signatures import Signer
from handsfree.problem import Problem

AT_ONCE = 400
"""Digests in one statement, so that its line stays shorter than any line may be."""

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


def data_of(folder: Path, person: str, files: Files | None = None) -> PersonsData | None:
    """Return what a record holds of a person, named by a role ("technician") or by name; None when nothing."""
    files = files or Disk()
    payloads = PersonalFiles(VisitFolder(folder), files)
    pieces: dict[str, PersonalDatum] = {}
    sounds: dict[str, None] = {}
    identity = ""
    for entry in read(folder, files):
        identity = identity or entry.digest
        pieces |= {one.commitment: one for one in data_in(entry.event)}
        sounds |= {str(name): None for name in members_named(entry.event, "sound") if is_digest(name)}
    named = {one.commitment for one in pieces.values() if payloads.payload(one.commitment) == person.encode()}
    whose = {pieces[one].whose for one in named} or {person}
    roles = whose - {SEVERAL} if named else whose
    own = [one for one in pieces.values() if one.commitment in named or one.whose in roles]
    voices = tuple(sounds) if TECHNICIAN in whose else ()
    if not own and not voices:
        return None
    texts = (payloads.payload(one.commitment) for one in own if one.what == "name")
    names = tuple(text.decode("utf-8", "replace") for text in texts if text)
    return PersonsData(", ".join(sorted(whose)), tuple(own), voices, names, identity)


@dataclass(frozen=True)
class Erased:
    """What went of one record: pieces and sounds, and in how many entries the name still stands in clear words."""

    folder: Path
    pieces: int
    sounds: int
    still_named: int = 0


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

    Raises Problem when no reason is given, the signer is no enrolled supervisor, or the disk fails. A crash leaves
    the files, or the statement, or both: doing it again completes it.
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
            "reason": reason.strip(),
            "sounds": sorted(some_sounds),
            "whose": data.whose,
        }
        at = stamp((clock or SystemClock()).now().wall)
        statement = unsigned(data.identity, read_endorsements(lines, data.identity, enrolment), who, at, says)
        Prepared((folder,), (statement,), who, (lines,)).signed(signer, files)
    carry_out(folder, enrolment, files)
    return Erased(folder, len(data.pieces), len(data.sounds), named)


def carry_out(folder: Path, enrolment: Enrolment | None, files: Files | None = None) -> int:
    """Delete what was signed to be erased from a record, on whichever copy; return how much was signed.

    Raises Problem when the disk fails.
    """
    files, visit = files or Disk(), VisitFolder(folder)
    identity = next((entry.digest for entry in read(folder, files)), "")
    erased = read_endorsements(kept_lines(folder, files), identity, enrolment).erased()
    try:
        for place, ending in ((visit.personal, ""), (visit.sound, ".flac")):
            names = set(files.names(place)) if place.name in files.names(folder) else set()
            for name in sorted(each for each in names if each.removesuffix(ending) in erased):
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


def _clear_words(folder: Path, names: Sequence[str], files: Files) -> int:
    """Return in how many entries a name stands in clear words, typed or noted: these cannot be erased."""
    return sum(any(name in entry.line.decode() for name in names) for entry in read(folder, files))
