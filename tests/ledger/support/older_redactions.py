"""What an earlier version of the program did: redactions sealed by the device on which they were made."""

from __future__ import annotations

from pathlib import Path

from handsfree.ledger.clock import Clock, SystemClock, stamp
from handsfree.ledger.device import DeviceKey, state_folder
from handsfree.ledger.entry import NOTHING_BEFORE, canonical, digest_of, members_named
from handsfree.ledger.files import Disk, Files, disk_problem, put
from handsfree.ledger.kinds import SOUND_REDACTED, is_digest
from handsfree.ledger.reading import read
from handsfree.ledger.redaction import Redaction, _lines
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import Problem


def redact(
    folder: Path,
    sound: str,
    *,
    by: str,
    reason: str,
    clock: Clock | None = None,
    state: Path | None = None,
    files: Files | None = None,
) -> Redaction:
    """Delete one clip and record who did it and why; the record itself is not touched.

    Raises Problem when nobody or no reason is named, when no entry names that clip, when it is not there,
    or the disk fails. A crash leaves the clip, or the redaction, or both: doing it again completes it.
    """
    files, clock, state = files or Disk(), clock or SystemClock(), state or state_folder()
    visit = VisitFolder(folder)
    if not by.strip() or not reason.strip():
        raise Problem("a redaction names who made it and why", where=str(folder))
    identity = _named_in(folder, sound, files)
    try:
        if visit.clip(sound).name not in files.names(visit.sound):
            raise Problem("that clip is not there", where=str(visit.sound))
        proof, signer = DeviceKey(state, files).use_next()
        release = files.lock(state / "redaction.lock", 10)
        try:
            before = _lines(visit, files)
            members = {
                "at": stamp(clock.now().wall),
                "by": by,
                "device": proof.as_json(),
                "kind": SOUND_REDACTED,
                "prev": digest_of(before[-1]) if before else NOTHING_BEFORE,
                "reason": reason,
                "sound": sound,
                "visit": identity,
            }
            line = canonical({**members, "seal": signer.sign(canonical(members)).hex()})
            put(files, visit.redactions, b"".join(each + b"\n" for each in [*before, line]))
            files.unlink(visit.clip(sound))
            files.fsync_folder(visit.sound)
        finally:
            release()
    except OSError as error:
        raise disk_problem(error, "redacting", folder) from error
    return Redaction(sound, by, reason, str(members["at"]), proof)


def _named_in(folder: Path, sound: str, files: Files) -> str:
    """Return the digest of the first entry of the record in which an entry names the clip."""
    identity, named = "", False
    for entry in read(folder, files):
        identity = identity or entry.digest
        named = named or sound in members_named(entry.event, "sound")
    if not (named and is_digest(sound)):
        raise Problem(f"no entry of this record names the clip {sound}", where=str(folder))
    return identity
