"""Taking one clip out of a record for good, so that the chain still verifies and it is said who did it.

A clip is removed by deleting its file; the entry that names it stays. A line in `redactions.jsonl` says
who, when and why. It is sealed by a one-time key of the device on which it was done, and carries the digest
of the line before it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from handsfree.ledger.clock import Clock, SystemClock, milliseconds, stamp
from handsfree.ledger.device import DeviceKey, DeviceProof, state_folder
from handsfree.ledger.entry import NOTHING_BEFORE, canonical, digest_of, members_named
from handsfree.ledger.files import Disk, Files, contents, disk_problem, put
from handsfree.ledger.kinds import SOUND_REDACTED, is_digest
from handsfree.ledger.ratchet import holds
from handsfree.ledger.reading import read
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import Problem

_MEMBERS = frozenset({"at", "by", "device", "kind", "prev", "reason", "seal", "sound", "visit"})


@dataclass(frozen=True)
class Redaction:
    """That a clip was taken out: its name, who did it, why, when (RFC 3339), and on which device."""

    sound: str
    by: str
    reason: str
    at: str
    device: DeviceProof

    def said(self) -> str:
        """Return who, when, why and where, for a sentence."""
        return f"{self.by} at {self.at} ({self.reason}), on the device {self.device.key[:12]}…"


@dataclass(frozen=True)
class Redactions:
    """All that stands in `redactions.jsonl`: what holds, by clip, and why what does not hold does not."""

    valid: dict[str, Redaction] = field(default_factory=dict)
    forged: dict[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    @staticmethod
    def read(visit: VisitFolder, files: Files, identity: str) -> Redactions:
        """Return the redactions of a visit, whose first entry has the digest `identity`."""
        valid, forged, remarks, prev = {}, {}, [], NOTHING_BEFORE
        for number, line in enumerate(_lines(visit, files), start=1):
            try:
                members = json.loads(line.decode())
                sound = str(members["sound"])
                redaction = _redaction(members, identity, prev)
            except (ValueError, TypeError, KeyError, RecursionError):
                remarks.append(f"line {number} of {visit.redactions.name} is not a redaction")
            else:
                if isinstance(redaction, str):
                    forged[sound] = f"the redaction that names it is not genuine: {redaction}"
                else:
                    valid[sound] = redaction
            prev = digest_of(line)
        return Redactions(valid, forged, tuple(remarks))


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


def _redaction(members: Any, identity: str, prev: str) -> Redaction | str:
    """Return the redaction on a line, or why it does not hold; ValueError and the like when it is none."""
    if members.keys() != _MEMBERS or members["kind"] != SOUND_REDACTED:
        raise ValueError("other members")
    device, texts = (
        DeviceProof.of_json(members["device"]),
        [members[name] for name in ("sound", "by", "reason", "at")],
    )
    milliseconds(members["at"])
    seal = bytes.fromhex(members.pop("seal"))
    if members["visit"] != identity:
        return "it belongs to another visit"
    if members["prev"] != prev:
        return "a line before it was changed or removed"
    if not (device.leads_to_key() and holds(bytes.fromhex(device.signer), seal, canonical(members))):
        return "its seal does not fit"
    sound, by, reason, at = (str(text) for text in texts)
    return Redaction(sound, by, reason, at, device)


def _lines(visit: VisitFolder, files: Files) -> list[bytes]:
    try:
        return contents(files, visit.redactions).split(b"\n")[:-1]
    except FileNotFoundError:
        return []
